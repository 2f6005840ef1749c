//! The task: what to do where, with which machine and product, and what to log.

use super::id::{
    CodedCommentId, CodedCommentListValueId, CulturalPracticeId, CustomerId, DeviceElementId, DeviceId,
    FarmId, GuidanceGroupId, GuidancePatternId, OperationTechniqueId, PartfieldId, ProductId, TaskId,
    ValuePresentationId, WorkerId,
};
use super::value::{CellSize, ClientName, Ddi, Dilution, Latitude, LocalTime, LogMethods, Longitude, Text};

code! {
    /// How far a task is.
    TaskStatus {
        /// To be done.
        Planned = 1,
        /// Being done.
        Running = 2,
        /// Interrupted.
        Paused = 3,
        /// Done.
        Completed = 4,
        /// A pattern for tasks.
        Template = 5,
        /// Given up.
        Cancelled = 6,
    }
}

element! {
    /// A task.
    Task = "TSK"
    required {
        /// Its identity.
        A id: TaskId,
        /// How far it is.
        G status: TaskStatus,
    }
    optional {
        /// Its name.
        B designator: Text<32>,
        /// Whom it is done for.
        C customer: CustomerId,
        /// The farm.
        D farm: FarmId,
        /// The field.
        E partfield: PartfieldId,
        /// Who answers for it.
        F worker: WorkerId,
        /// The zone wherever no other applies.
        H default_zone: u8,
        /// The zone while there is no position.
        I position_lost_zone: u8,
        /// The zone outside the field.
        J out_of_field_zone: u8,
    }
    maybe {
        /// The kind of work.
        practice: OperTechPractice,
    }
    many {
        /// What to do in each zone.
        zones: TreatmentZone,
        /// Set-points cell by cell.
        grids: Grid,
        /// When it was or shall be done.
        times: Time,
        /// By whom.
        workers: WorkerAllocation,
        /// With which devices.
        devices: DeviceAllocation,
        /// How they are coupled.
        connections: Connection,
        /// With which products.
        products: ProductAllocation,
        /// What to log.
        log_triggers: DataLogTrigger,
        /// What to know.
        comments: CommentAllocation,
        /// What was logged.
        logs: TimeLog,
        /// Along which lines.
        guidance: GuidanceAllocation,
    }
}

element! {
    /// The kind of work that a task is.
    OperTechPractice = "OTP"
    required {
        /// The practice.
        A practice: CulturalPracticeId,
    }
    optional {
        /// The technique.
        B technique: OperationTechniqueId,
    }
}

element! {
    /// Set-points that hold together.
    TreatmentZone = "TZN"
    required {
        /// Its number within the task, at most 254.
        A code: u8,
    }
    optional {
        /// Its name.
        B designator: Text<32>,
        /// Its colour.
        C colour: u8,
    }
    many {
        /// Where it applies.
        polygons: super::Polygon,
        /// The set-points.
        values: ProcessDataVariable,
    }
}

element! {
    /// A set-point.
    ProcessDataVariable = "PDV"
    required {
        /// Which.
        A ddi: Ddi,
        /// Its raw value.
        B value: i32,
    }
    optional {
        /// Of which product.
        C product: ProductId,
        /// Of which element.
        D element: DeviceElementId,
        /// How it is shown.
        E presentation: ValuePresentationId,
        /// The practice that it is for.
        F cultural_practice: i32,
        /// The instance of an element that it is for.
        G element_instance: i32,
    }
    many {
        /// Further set-points.
        values: ProcessDataVariable,
    }
}

code! {
    /// What the cells of a grid hold.
    GridType {
        /// The number of a treatment zone, one byte.
        ZoneCodes = 1,
        /// The values of a zone's set-points, four bytes each.
        Values = 2,
    }
}

element! {
    /// A grid of cells, rows from south to north, each from west to east, in a file of its own.
    Grid = "GRD"
    required {
        /// Its southern edge.
        A north: Latitude,
        /// Its western edge.
        B east: Longitude,
        /// Height of a cell, degrees.
        C cell_north: CellSize,
        /// Width of a cell, degrees.
        D cell_east: CellSize,
        /// Cells in a row.
        E columns: u32,
        /// Rows.
        F rows: u32,
        /// Its file's name without ending: `GRD` and five digits.
        G file: Text<8>,
        /// What the cells hold.
        I kind: GridType,
    }
    optional {
        /// Bytes of the file.
        H length_bytes: u32,
        /// The zone whose set-points a grid of values holds, in their order.
        J zone: u8,
    }
}

code! {
    /// What a stretch of time is spent on.
    TimeType {
        /// Planned work.
        Planned = 1,
        /// Making ready.
        Preliminary = 2,
        /// Work.
        Effective = 4,
        /// Work with the tool idle.
        Ineffective = 5,
        /// Repair.
        Repair = 6,
        /// Clearing away.
        Clearing = 7,
        /// Switched off.
        PoweredDown = 8,
    }
}

element! {
    /// A stretch of time.
    Time = "TIM"
    required {
        /// Its beginning.
        A start: LocalTime,
        /// What it is spent on.
        D kind: TimeType,
    }
    optional {
        /// Its end.
        B stop: LocalTime,
        /// Its length, s.
        C duration_s: u32,
    }
    many {
        /// Where it began and ended.
        positions: Position,
        /// Totals.
        values: DataLogValue,
    }
}

code! {
    /// What kind of time stamp an allocation bears.
    StampType {
        /// Planned.
        Planned = 1,
        /// As it was.
        Effective = 4,
    }
}

element! {
    /// When an allocation holds.
    AllocationStamp = "ASP"
    required {
        /// Its beginning.
        A start: LocalTime,
        /// Planned or as it was.
        D kind: StampType,
    }
    optional {
        /// Its end.
        B stop: LocalTime,
        /// Its length, s.
        C duration_s: u32,
    }
    many {
        /// Where it began and ended.
        positions: Position,
    }
}

code! {
    /// How a receiver came to its position.
    PositionStatus {
        /// Not at all.
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
        /// In error.
        Error = 14,
        /// Unknown.
        NotAvailable = 15,
    }
}

element! {
    /// Where the machine was.
    Position = "PTN"
    required {
        /// Latitude.
        A north: Latitude,
        /// Longitude.
        B east: Longitude,
        /// How it was found.
        D status: PositionStatus,
    }
    optional {
        /// Height above the ellipsoid, mm.
        C up_mm: i32,
        /// Position dilution of precision.
        E pdop: Dilution,
        /// Horizontal dilution of precision.
        F hdop: Dilution,
        /// Satellites in use.
        G satellites: u8,
        /// UTC, ms since midnight.
        H utc_time_ms: u32,
        /// UTC, days since 1980-01-01.
        I utc_date_days: u16,
    }
}

element! {
    /// A logged value.
    DataLogValue = "DLV"
    required {
        /// Which.
        A ddi: Ddi,
        /// Its raw value.
        B value: i32,
        /// Of which element.
        C element: DeviceElementId,
    }
    optional {
        /// The bus message that it came from.
        D pgn: u32,
        /// Its first bit there.
        E pgn_start_bit: u8,
        /// Its last bit there.
        F pgn_stop_bit: u8,
    }
}

element! {
    /// A person allotted to the task.
    WorkerAllocation = "WAN"
    required {
        /// Who.
        A worker: WorkerId,
    }
    maybe {
        /// When.
        stamp: AllocationStamp,
    }
}

element! {
    /// A device allotted to the task.
    DeviceAllocation = "DAN"
    required {
        /// The NAME of the device.
        A client_name: ClientName,
    }
    optional {
        /// Which bits of the NAME must agree.
        B client_name_mask: ClientName,
        /// The device's description.
        C device: DeviceId,
    }
    maybe {
        /// When.
        stamp: AllocationStamp,
    }
}

element! {
    /// Two devices coupled.
    Connection = "CNN"
    required {
        /// One device.
        A device_0: DeviceId,
        /// Its coupling.
        B element_0: DeviceElementId,
        /// The other device.
        C device_1: DeviceId,
        /// Its coupling.
        D element_1: DeviceElementId,
    }
}

code! {
    /// What is done with a product.
    TransferMode {
        /// Filled in.
        Filling = 1,
        /// Emptied.
        Emptying = 2,
        /// Left over.
        Remainder = 3,
    }
}

element! {
    /// A product allotted to the task.
    ProductAllocation = "PAN"
    required {
        /// Which.
        A product: ProductId,
    }
    optional {
        /// The entry that the quantity is stated in.
        B quantity_ddi: Ddi,
        /// The quantity's raw value.
        C quantity: i32,
        /// What is done with it.
        D transfer: TransferMode,
        /// The element that it goes to.
        E element: DeviceElementId,
        /// How the quantity is shown.
        F presentation: ValuePresentationId,
        /// A closer description.
        G product_sub_type: ProductId,
    }
    maybe {
        /// When.
        stamp: AllocationStamp,
    }
}

element! {
    /// A value to be logged, and when.
    DataLogTrigger = "DLT"
    required {
        /// Which.
        A ddi: Ddi,
        /// When.
        B methods: LogMethods,
    }
    optional {
        /// Distance between two, mm.
        C distance_mm: i32,
        /// Time between two, ms.
        D time_ms: i32,
        /// Lower threshold.
        E minimum: i32,
        /// Upper threshold.
        F maximum: i32,
        /// Least change.
        G change: i32,
        /// Of which element.
        H element: DeviceElementId,
        /// How it is shown.
        I presentation: ValuePresentationId,
        /// The bus message that it comes from.
        J pgn: u32,
        /// Its first bit there.
        K pgn_start_bit: u8,
        /// Its last bit there.
        L pgn_stop_bit: u8,
    }
}

element! {
    /// A comment on the task.
    CommentAllocation = "CAN"
    optional {
        /// A coded comment.
        A comment: CodedCommentId,
        /// Its value.
        B value: CodedCommentListValueId,
        /// Or free words.
        C text: Text<32>,
    }
    maybe {
        /// When.
        stamp: AllocationStamp,
    }
}

code! {
    /// How a log is stored.
    TimeLogType {
        /// As a binary file with a header of its own.
        Binary = 1,
    }
}

element! {
    /// A log file.
    TimeLog = "TLG"
    required {
        /// Name of its files, without their endings.
        A filename: Text<8>,
        /// How it is stored.
        C kind: TimeLogType,
    }
    optional {
        /// Bytes of the binary file.
        B length_bytes: u32,
    }
}

element! {
    /// Guidance allotted to the task.
    GuidanceAllocation = "GAN"
    required {
        /// Which group.
        A group: GuidanceGroupId,
    }
    one {
        /// When.
        stamp: AllocationStamp,
    }
    many {
        /// Shifts of its lines.
        shifts: GuidanceShift,
    }
}

element! {
    /// A shift of guidance lines.
    GuidanceShift = "GST"
    optional {
        /// Of a group.
        A group: GuidanceGroupId,
        /// Of a pattern.
        B pattern: GuidancePatternId,
        /// To the east, mm.
        C east_mm: i32,
        /// To the north, mm.
        D north_mm: i32,
        /// To the right of the line, mm.
        E right_mm: i32,
    }
    maybe {
        /// When.
        stamp: AllocationStamp,
    }
}
