//! The device description: the machine as the bus sees it, its elements, their properties and the
//! values that can be set and logged.

use super::id::{DeviceElementId, DeviceId};
use super::value::{
    ClientName, DataProperties, Ddi, LocalizationLabel, LogMethods, Scale, StructureLabel, Text,
};

element! {
    /// A device.
    Device = "DVC"
    required {
        /// Its identity.
        A id: DeviceId,
        /// The NAME of its control function.
        D client_name: ClientName,
        /// By which its structure is recognised.
        F structure_label: StructureLabel,
        /// By which its language is recognised.
        G localization_label: LocalizationLabel,
    }
    optional {
        /// Its name.
        B designator: Text<32>,
        /// Version of its software.
        C software_version: Text<32>,
        /// Its serial number.
        E serial_number: Text<32>,
    }
    many {
        /// What it consists of.
        elements: DeviceElement,
        /// Values that do not change.
        properties: DeviceProperty,
        /// Values that change.
        process_data: DeviceProcessData,
        /// How they are shown.
        presentations: DeviceValuePresentation,
    }
}

code! {
    /// What a device element is.
    DeviceElementType {
        /// The device as a whole.
        Device = 1,
        /// A tool.
        Function = 2,
        /// A tank or a hopper.
        Bin = 3,
        /// A part of a tool's width.
        Section = 4,
        /// A single tool, such as a row.
        Unit = 5,
        /// A coupling.
        Connector = 6,
        /// A reference for positions, such as an antenna.
        Navigation = 7,
    }
}

element! {
    /// A part of a device.
    DeviceElement = "DET"
    required {
        /// Its identity.
        A id: DeviceElementId,
        /// Its number among the device's objects.
        B object_id: u16,
        /// What it is.
        C kind: DeviceElementType,
        /// Its number among the device's elements.
        E number: u16,
        /// Object number of the element it belongs to; 0 is the device.
        F parent_object_id: u16,
    }
    optional {
        /// Its name.
        D designator: Text<32>,
    }
    many {
        /// Its properties and process data.
        objects: DeviceObjectReference,
    }
}

element! {
    /// A property or process data of an element.
    DeviceObjectReference = "DOR"
    required {
        /// Its object number.
        A object_id: u16,
    }
}

element! {
    /// A value that changes.
    DeviceProcessData = "DPD"
    required {
        /// Its number among the device's objects.
        A object_id: u16,
        /// Which.
        B ddi: Ddi,
        /// What may be done with it.
        C properties: DataProperties,
        /// When it can be logged.
        D log_methods: LogMethods,
    }
    optional {
        /// Its name.
        E designator: Text<32>,
        /// Object number of the presentation.
        F presentation_object_id: u16,
    }
}

element! {
    /// A value that does not change.
    DeviceProperty = "DPT"
    required {
        /// Its number among the device's objects.
        A object_id: u16,
        /// Which.
        B ddi: Ddi,
        /// Its raw value.
        C value: i32,
    }
    optional {
        /// Its name.
        D designator: Text<32>,
        /// Object number of the presentation.
        E presentation_object_id: u16,
    }
}

element! {
    /// How a raw value is shown: `(raw + offset) × scale`.
    DeviceValuePresentation = "DVP"
    required {
        /// Its number among the device's objects.
        A object_id: u16,
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
    }
}
