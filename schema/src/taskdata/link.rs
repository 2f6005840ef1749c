//! The link list: identities that outlive one task data set, here UUIDs.

use super::id::{LinkGroupId, ObjectRef};
use super::set::{MajorVersion, MinorVersion, TransferOrigin};
use super::value::Text;
use uuid::Uuid;

/// The name of the link list's file, and of its announcement in the set.
pub const LINK_LIST_FILE: &str = "LINKLIST.XML";

element! {
    /// The root of `LINKLIST.XML`.
    LinkList = "ISO11783LinkList"
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
        /// Version of this file.
        FileVersion file_version: Text<32>,
    }
    many {
        /// Links by kind.
        groups: LinkGroup,
    }
}

code! {
    /// What the links of a group are.
    LinkGroupType {
        /// UUIDs.
        Uuid = 1,
        /// Something of a manufacturer's own.
        Manufacturer = 2,
        /// Unique addresses that can be followed.
        UniqueUri = 3,
        /// Addresses with further information.
        InformationalUri = 4,
    }
}

element! {
    /// Links of one kind.
    LinkGroup = "LGP"
    required {
        /// Its identity.
        A id: LinkGroupId,
        /// What its links are.
        B kind: LinkGroupType,
    }
    optional {
        /// The manufacturer.
        C manufacturer_gln: Text<64>,
        /// What each link begins with.
        D namespace: Text<255>,
        /// Its name.
        E designator: Text<32>,
    }
    many {
        /// The links.
        links: Link,
    }
}

element! {
    /// A link from an object of the set to an identity.
    Link = "LNK"
    required {
        /// The object.
        A object: ObjectRef,
        /// The identity.
        B value: Text<255>,
    }
    optional {
        /// Its name.
        C designator: Text<32>,
    }
}

impl Link {
    /// From an object to its UUID, in braces.
    pub fn uuid(object: impl Into<ObjectRef>, uuid: Uuid) -> Self {
        Self::new(object.into(), Text::cut(&uuid.braced().to_string()).text)
    }
}
