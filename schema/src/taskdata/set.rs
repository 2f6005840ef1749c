//! The set as a whole: the root of `TASKDATA.XML`.

use super::value::Text;
use super::{
    BaseStation, CodedComment, CodedCommentGroup, ColourLegend, CropType, CulturalPractice, Customer, Device,
    Farm, OperationTechnique, Partfield, Product, ProductGroup, Task, ValuePresentation, Worker,
};

code! {
    /// The major version of the standard's format.
    MajorVersion {
        /// A draft.
        Zero = 0,
        /// A draft.
        One = 1,
        /// A draft.
        Two = 2,
        /// First edition.
        Three = 3,
        /// Second edition.
        Four = 4,
    }
}

code! {
    /// The minor version of the standard's format.
    MinorVersion {
        /// 0.
        Zero = 0,
        /// 1.
        One = 1,
        /// 2.
        Two = 2,
        /// 3.
        Three = 3,
    }
}

code! {
    /// Where a set comes from.
    TransferOrigin {
        /// The farm office.
        Office = 1,
        /// The machine.
        Machine = 2,
    }
}

element! {
    /// The root of `TASKDATA.XML`.
    TaskData = "ISO11783_TaskData"
    required {
        /// The standard's version.
        VersionMajor version_major: MajorVersion,
        /// Its minor version.
        VersionMinor version_minor: MinorVersion,
        /// Who made the office software.
        ManagementSoftwareManufacturer management_software_manufacturer: Text<32>,
        /// Its version.
        ManagementSoftwareVersion management_software_version: Text<32>,
        /// Where the set comes from.
        DataTransferOrigin data_transfer_origin: TransferOrigin,
    }
    optional {
        /// Who made the machine's task controller.
        TaskControllerManufacturer task_controller_manufacturer: Text<32>,
        /// Its version.
        TaskControllerVersion task_controller_version: Text<32>,
    }
    many {
        /// Files beside this one.
        attached_files: AttachedFile,
        /// Customers.
        customers: Customer,
        /// Farms.
        farms: Farm,
        /// Workers.
        workers: Worker,
        /// Base stations.
        base_stations: BaseStation,
        /// How values are shown.
        value_presentations: ValuePresentation,
        /// Colours.
        colour_legends: ColourLegend,
        /// Groups of products or crops.
        product_groups: ProductGroup,
        /// Products.
        products: Product,
        /// Crops.
        crop_types: CropType,
        /// Techniques.
        operation_techniques: OperationTechnique,
        /// Kinds of work.
        cultural_practices: CulturalPractice,
        /// Groups of comments.
        comment_groups: CodedCommentGroup,
        /// Comments.
        comments: CodedComment,
        /// Devices.
        devices: Device,
        /// Fields.
        partfields: Partfield,
        /// Tasks.
        tasks: Task,
    }
}

code! {
    /// What the machine does with an attached file.
    Preserve {
        /// It may drop it.
        Drop = 1,
        /// It keeps it and sends it back.
        Keep = 2,
    }
}

element! {
    /// A file beside `TASKDATA.XML`.
    AttachedFile = "AFE"
    required {
        /// Its name, eight and three capital letters or digits.
        A filename: Text<12>,
        /// What the machine does with it.
        B preserve: Preserve,
        /// Who defines its format; empty for files of the standard.
        C manufacturer_gln: Text<32>,
        /// Its kind: 1 is the link list.
        D file_type: u8,
    }
    optional {
        /// Its version.
        E version: Text<32>,
        /// Its bytes.
        F length_bytes: u32,
    }
}

impl AttachedFile {
    /// The announcement of a link list.
    pub fn link_list() -> Self {
        Self::new(Text::cut(super::LINK_LIST_FILE).text, Preserve::Keep, Text::cut("").text, 1)
    }
}
