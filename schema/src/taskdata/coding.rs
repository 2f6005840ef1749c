//! Elements that other elements refer to: customer, farm, worker, crop, product, practice,
//! base station, comments, and how a value is shown.

use super::id::{
    BaseStationId, CodedCommentGroupId, CodedCommentId, CodedCommentListValueId, ColourLegendId, CropTypeId,
    CropVarietyId, CulturalPracticeId, CustomerId, FarmId, OperationTechniqueId, ProductGroupId, ProductId,
    ValuePresentationId, WorkerId,
};
use super::value::{Ddi, Latitude, Longitude, Scale, Text};

element! {
    /// Whom the work is done for.
    Customer = "CTR"
    required {
        /// Its identity.
        A id: CustomerId,
        /// Last name, or the name of a company.
        B last_name: Text<32>,
    }
    optional {
        /// First name.
        C first_name: Text<32>,
        /// Street.
        D street: Text<32>,
        /// Post-office box.
        E po_box: Text<32>,
        /// Postal code.
        F postal_code: Text<10>,
        /// Town.
        G city: Text<32>,
        /// State or county.
        H state: Text<32>,
        /// Country.
        I country: Text<32>,
        /// Telephone.
        J phone: Text<20>,
        /// Mobile telephone.
        K mobile: Text<20>,
        /// Fax.
        L fax: Text<20>,
        /// Electronic mail.
        M email: Text<64>,
    }
}

element! {
    /// A farm.
    Farm = "FRM"
    required {
        /// Its identity.
        A id: FarmId,
        /// Its name.
        B designator: Text<32>,
    }
    optional {
        /// Street.
        C street: Text<32>,
        /// Post-office box.
        D po_box: Text<32>,
        /// Postal code.
        E postal_code: Text<10>,
        /// Town.
        F city: Text<32>,
        /// State or county.
        G state: Text<32>,
        /// Country.
        H country: Text<32>,
        /// Whose it is.
        I customer: CustomerId,
    }
}

element! {
    /// A person who does the work.
    Worker = "WKR"
    required {
        /// Their identity.
        A id: WorkerId,
        /// Last name.
        B last_name: Text<32>,
    }
    optional {
        /// First name.
        C first_name: Text<32>,
        /// Street.
        D street: Text<32>,
        /// Post-office box.
        E po_box: Text<32>,
        /// Postal code.
        F postal_code: Text<10>,
        /// Town.
        G city: Text<32>,
        /// State or county.
        H state: Text<32>,
        /// Country.
        I country: Text<32>,
        /// Telephone.
        J phone: Text<20>,
        /// Mobile telephone.
        K mobile: Text<20>,
        /// Number of a licence.
        L licence_number: Text<32>,
        /// Electronic mail.
        M email: Text<64>,
    }
}

element! {
    /// A reference station that sends corrections to the machine's receiver.
    BaseStation = "BSN"
    required {
        /// Its identity.
        A id: BaseStationId,
        /// Its name.
        B designator: Text<32>,
        /// Latitude.
        C north: Latitude,
        /// Longitude.
        D east: Longitude,
        /// Height above the ellipsoid, mm.
        E up_mm: i32,
    }
}

element! {
    /// A crop.
    CropType = "CTP"
    required {
        /// Its identity.
        A id: CropTypeId,
        /// Its name.
        B designator: Text<32>,
    }
    optional {
        /// The group of crops it belongs to.
        C product_group: ProductGroupId,
    }
    many {
        /// Its varieties.
        varieties: CropVariety,
    }
}

element! {
    /// A variety of a crop.
    CropVariety = "CVT"
    required {
        /// Its identity.
        A id: CropVarietyId,
        /// Its name.
        B designator: Text<32>,
    }
    optional {
        /// Its seed.
        C product: ProductId,
    }
}

code! {
    /// What a group of products holds.
    ProductGroupType {
        /// Products.
        Products = 1,
        /// Crops.
        Crops = 2,
    }
}

element! {
    /// A group of products or of crops.
    ProductGroup = "PGP"
    required {
        /// Its identity.
        A id: ProductGroupId,
        /// Its name.
        B designator: Text<32>,
    }
    optional {
        /// What it holds.
        C kind: ProductGroupType,
    }
}

code! {
    /// What a product is made of.
    ProductType {
        /// One thing.
        Single = 1,
        /// A mixture.
        Mixture = 2,
        /// A mixture made for one task.
        TemporaryMixture = 3,
    }
}

element! {
    /// Something that is put on a field, here a lot of seed.
    Product = "PDT"
    required {
        /// Its identity.
        A id: ProductId,
        /// Its name.
        B designator: Text<32>,
    }
    optional {
        /// The group it belongs to.
        C group: ProductGroupId,
        /// How its quantity is shown.
        D presentation: ValuePresentationId,
        /// The entry that its quantity is stated in.
        E quantity_ddi: Ddi,
        /// What it is made of.
        F kind: ProductType,
        /// Quantity of the mixture that the relations add up to, ml.
        G mixture_quantity_ml: u32,
        /// Density, mg/l.
        H density_mg_per_l: u32,
        /// Mass of a thousand pieces, mg.
        I mass_mg_per_1000: u32,
        /// Volume of a thousand pieces, ml.
        J volume_ml_per_1000: u32,
    }
    many {
        /// What a mixture is made of.
        parts: ProductRelation,
    }
}

element! {
    /// A part of a mixture.
    ProductRelation = "PRN"
    required {
        /// The part.
        A product: ProductId,
        /// How much of it, in the unit of the product's entry.
        B quantity: u32,
    }
}

element! {
    /// A kind of work, such as sowing.
    CulturalPractice = "CPC"
    required {
        /// Its identity.
        A id: CulturalPracticeId,
        /// Its name.
        B designator: Text<32>,
    }
    many {
        /// Ways to do it.
        techniques: OperationTechniqueReference,
    }
}

element! {
    /// A way to do a kind of work.
    OperationTechniqueReference = "OTR"
    required {
        /// Which.
        A technique: OperationTechniqueId,
    }
}

element! {
    /// A technique, such as placing single seeds.
    OperationTechnique = "OTQ"
    required {
        /// Its identity.
        A id: OperationTechniqueId,
        /// Its name.
        B designator: Text<32>,
    }
}

code! {
    /// What a comment applies to.
    CommentScope {
        /// A moment.
        Point = 1,
        /// The whole task.
        Global = 2,
        /// A stretch of time.
        Continuous = 3,
    }
}

element! {
    /// A comment that tasks refer to.
    CodedComment = "CCT"
    required {
        /// Its identity.
        A id: CodedCommentId,
        /// Its words.
        B designator: Text<32>,
        /// What it applies to.
        C scope: CommentScope,
    }
    optional {
        /// The group it belongs to.
        D group: CodedCommentGroupId,
    }
    many {
        /// Values that it can take.
        values: CodedCommentListValue,
    }
}

element! {
    /// A group of comments.
    CodedCommentGroup = "CCG"
    required {
        /// Its identity.
        A id: CodedCommentGroupId,
        /// Its name.
        B designator: Text<32>,
    }
}

element! {
    /// A value that a comment can take.
    CodedCommentListValue = "CCL"
    required {
        /// Its identity.
        A id: CodedCommentListValueId,
        /// Its words.
        B designator: Text<32>,
    }
}

element! {
    /// How a raw value is shown: `(raw + offset) × scale`.
    ValuePresentation = "VPN"
    required {
        /// Its identity.
        A id: ValuePresentationId,
        /// Added to the raw value.
        B offset: i32,
        /// Then multiplied.
        C scale: Scale,
        /// Places shown.
        D decimals: u8,
    }
    optional {
        /// Unit shown.
        E unit: Text<32>,
        /// Colours.
        F colour_legend: ColourLegendId,
    }
}

element! {
    /// Colours for ranges of a value.
    ColourLegend = "CLD"
    required {
        /// Its identity.
        A id: ColourLegendId,
    }
    optional {
        /// Colour outside every range.
        B default_colour: u8,
    }
    many {
        /// The ranges.
        ranges: ColourRange,
    }
}

element! {
    /// A colour for a range of raw values.
    ColourRange = "CRG"
    required {
        /// Lowest value.
        A minimum: i32,
        /// Highest value.
        B maximum: i32,
        /// The colour.
        C colour: u8,
    }
}
