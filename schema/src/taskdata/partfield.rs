//! The field: its polygons, lines and points, and the guidance patterns that a machine drives.

use super::id::{
    BaseStationId, CropTypeId, CropVarietyId, CustomerId, FarmId, GuidanceGroupId, GuidancePatternId,
    LineStringId, PartfieldId, PointId, PolygonId,
};
use super::value::{Accuracy, Bearing, Latitude, Longitude, Text};

element! {
    /// A field, or a part of one that is worked as a whole.
    Partfield = "PFD"
    required {
        /// Its identity.
        A id: PartfieldId,
        /// Its name.
        C designator: Text<32>,
        /// Its area, m².
        D area_m2: u32,
    }
    optional {
        /// A code of the office's own.
        B code: Text<32>,
        /// Who has it worked.
        E customer: CustomerId,
        /// The farm it belongs to.
        F farm: FarmId,
        /// What grows on it.
        G crop_type: CropTypeId,
        /// Which variety.
        H crop_variety: CropVarietyId,
        /// The field that it is a part of.
        I field: PartfieldId,
    }
    many {
        /// Boundary, obstacles, headland and other areas.
        polygons: Polygon,
        /// Lines.
        lines: LineString,
        /// Entrances and other places.
        points: Point,
        /// Guidance.
        guidance_groups: GuidanceGroup,
    }
}

code! {
    /// What a polygon is.
    PolygonType {
        /// The boundary of a partfield.
        Boundary = 1,
        /// An area that is treated alike.
        TreatmentZone = 2,
        /// Water.
        WaterSurface = 3,
        /// A building.
        Building = 4,
        /// A road.
        Road = 5,
        /// Something to stay out of.
        Obstacle = 6,
        /// Marked.
        Flag = 7,
        /// Something else.
        Other = 8,
        /// Inside the headland.
        MainField = 9,
        /// Where the machine turns.
        Headland = 10,
        /// A strip left as it is.
        BufferZone = 11,
        /// A windbreak.
        Windbreak = 12,
    }
}

element! {
    /// An area: one exterior line and its holes.
    Polygon = "PLN"
    required {
        /// What it is.
        A kind: PolygonType,
    }
    optional {
        /// Its name.
        B designator: Text<32>,
        /// Its area, m².
        C area_m2: u32,
        /// Its colour.
        D colour: u8,
        /// Its identity.
        E id: PolygonId,
    }
    many {
        /// Exterior first, then holes.
        lines: LineString,
    }
}

code! {
    /// What a line is.
    LineStringType {
        /// The outside of a polygon.
        PolygonExterior = 1,
        /// A hole in a polygon.
        PolygonInterior = 2,
        /// Wheel marks for later passes.
        TramLine = 3,
        /// A way between soil samples.
        SamplingRoute = 4,
        /// A line to drive.
        GuidancePattern = 5,
        /// A drain.
        Drainage = 6,
        /// A fence.
        Fence = 7,
        /// Marked.
        Flag = 8,
        /// Something to stay off.
        Obstacle = 9,
    }
}

element! {
    /// A line through points.
    LineString = "LSG"
    required {
        /// What it is.
        A kind: LineStringType,
    }
    optional {
        /// Its name.
        B designator: Text<32>,
        /// Its width, mm; on guidance lines the width of the swath.
        C width_mm: u32,
        /// Its length, mm.
        D length_mm: u32,
        /// Its colour.
        E colour: u8,
        /// Its identity.
        F id: LineStringId,
    }
    many {
        /// Its points in order.
        points: Point,
    }
}

code! {
    /// What a point is.
    PointType {
        /// Marked.
        Flag = 1,
        /// Something else, such as a corner of a polygon.
        Other = 2,
        /// A way into the field.
        FieldAccess = 3,
        /// A store.
        Storage = 4,
        /// Something to stay off.
        Obstacle = 5,
        /// Where a guidance line begins.
        GuidanceReferenceA = 6,
        /// Where it ends.
        GuidanceReferenceB = 7,
        /// Its centre.
        GuidanceReferenceCentre = 8,
        /// A point on it.
        GuidancePoint = 9,
        /// A place that stands for the field.
        PartfieldReference = 10,
        /// Where the machine is at home.
        HomeBase = 11,
    }
}

element! {
    /// A place.
    Point = "PNT"
    required {
        /// What it is.
        A kind: PointType,
        /// Latitude.
        C north: Latitude,
        /// Longitude.
        D east: Longitude,
    }
    optional {
        /// Its name.
        B designator: Text<32>,
        /// Height above the ellipsoid, mm.
        E up_mm: i32,
        /// Its colour.
        F colour: u8,
        /// Its identity.
        G id: PointId,
        /// Horizontal accuracy.
        H horizontal_accuracy: Accuracy,
        /// Vertical accuracy.
        I vertical_accuracy: Accuracy,
    }
}

element! {
    /// Guidance patterns that belong together.
    GuidanceGroup = "GGP"
    required {
        /// Its identity.
        A id: GuidanceGroupId,
    }
    optional {
        /// Its name.
        B designator: Text<32>,
    }
    many {
        /// The patterns.
        patterns: GuidancePattern,
        /// Where they apply.
        boundaries: Polygon,
    }
}

code! {
    /// How a guidance pattern is defined.
    GuidancePatternType {
        /// A straight line through two points.
        Ab = 1,
        /// A straight line from a point on a heading.
        APlus = 2,
        /// A curve through points.
        Curve = 3,
        /// A circle.
        Pivot = 4,
        /// A spiral.
        Spiral = 5,
    }
}

code! {
    /// Which way round a pivot is driven.
    GuidancePatternOption {
        /// Clockwise.
        Clockwise = 1,
        /// Counter-clockwise.
        CounterClockwise = 2,
        /// Either, all round.
        FullCircle = 3,
    }
}

code! {
    /// To which side a machine may add parallel lines of its own.
    Propagation {
        /// Both.
        Both = 1,
        /// Left.
        Left = 2,
        /// Right.
        Right = 3,
        /// None: drive the line itself.
        No = 4,
    }
}

code! {
    /// Where a machine may lengthen the line.
    Extension {
        /// At both ends.
        Both = 1,
        /// Before its first point.
        First = 2,
        /// After its last point.
        Last = 3,
        /// Nowhere.
        No = 4,
    }
}

code! {
    /// How the positions of a pattern were found.
    GnssMethod {
        /// Without a fix.
        NoFix = 0,
        /// By satellite alone.
        Autonomous = 1,
        /// With differential corrections.
        Differential = 2,
        /// By a precise service.
        Precise = 3,
        /// With fixed carrier-phase ambiguities.
        RtkFixed = 4,
        /// With floating carrier-phase ambiguities.
        RtkFloat = 5,
        /// By dead reckoning.
        DeadReckoning = 6,
        /// By hand.
        Manual = 7,
        /// By simulation.
        Simulated = 8,
        /// At a desk.
        Desktop = 16,
        /// Otherwise.
        Other = 17,
    }
}

element! {
    /// A line to drive.
    GuidancePattern = "GPN"
    required {
        /// Its identity.
        A id: GuidancePatternId,
        /// How it is defined.
        C kind: GuidancePatternType,
    }
    optional {
        /// Its name.
        B designator: Text<32>,
        /// Which way round.
        D option: GuidancePatternOption,
        /// Parallel lines of the machine's own.
        E propagation: Propagation,
        /// Lengthening.
        F extension: Extension,
        /// Its heading.
        G heading: Bearing,
        /// Its radius, mm.
        H radius_mm: u32,
        /// How its positions were found.
        I gnss_method: GnssMethod,
        /// Horizontal accuracy.
        J horizontal_accuracy: Accuracy,
        /// Vertical accuracy.
        K vertical_accuracy: Accuracy,
        /// The base station that its positions refer to.
        L base_station: BaseStationId,
        /// The reference frame in which it was planned.
        M original_srid: Text<32>,
        /// Parallel lines to the left.
        N swaths_left: u32,
        /// Parallel lines to the right.
        O swaths_right: u32,
    }
    one {
        /// The line.
        line: LineString,
    }
    many {
        /// Where it applies.
        boundaries: Polygon,
    }
}
