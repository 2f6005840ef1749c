//! The device description of the machine: one device, with its toolbar, rows, hoppers, antennas and
//! coupling.
//!
//! In: the machine. Out: its DVC element, and what tasks refer to. Offsets are from the machine's
//! reference point on the ground: X forward, Y right, Z down, millimetres (axes as in the public
//! data dictionary, entries 134 to 136). A self-propelled machine with its own toolbar is one
//! device, so nothing is coupled to its connector.
//!
//! NAME and labels are a planner's: a machine answers with its own, and a task's mask says that only
//! industry group and device class must agree.

use super::{label, links, number};
use crate::check::{BodyPoint, Machine, Operation};
use lanewright_schema::quantity::Length;
use lanewright_schema::taskdata::ddi::{self, Entry};
use lanewright_schema::taskdata::{
    ClientName, DataProperties, Device, DeviceElement, DeviceElementId, DeviceElementType, DeviceId,
    DeviceObjectReference, DeviceProcessData, DeviceProperty, DeviceValuePresentation, LocalizationLabel,
    LogMethods, Scale, StructureLabel,
};

/// A device description and the elements that tasks refer to.
pub struct Described {
    /// The description.
    pub device: Device,
    /// The machine as a whole.
    pub machine: DeviceElementId,
    /// The toolbar.
    pub toolbar: DeviceElementId,
    /// Rows on the toolbar.
    pub rows: usize,
}

/// Identity of the one device.
pub const DEVICE: DeviceId = DeviceId::office(1);

/// Which bits of a NAME must agree: industry group (62 to 60) and device class (55 to 49).
pub const NAME_MASK: ClientName = ClientName(0x70FE_0000_0000_0000);

/// Self-configurable (bit 63), agriculture (group 2), planters and seeders (class 4). Function,
/// manufacturer and instance are unknown at a desk, so each is all ones (SAE J1939-81's value for
/// "not available", from memory).
const SEEDER_NAME: u64 = 0xA008_FF00_FFE0_0000;
/// The same, but a weeder (class 27).
const WEEDER_NAME: u64 = 0xA036_FF00_FFE0_0000;
const SERIAL_BITS: u64 = 0x001F_FFFF;

/// The coupling of a tool that sits on the chassis of a self-propelled machine (entry 157).
const CHASSIS_MOUNTED: i32 = 9;

/// Rows whose work states one condensed value holds (entries 161 and following).
pub const CONDENSED: usize = 16;

/// Describes a machine that does one kind of operation.
pub fn described(machine: &Machine, operation: Operation) -> Described {
    let serial = links::machine_uuid(machine).as_u128() as u64 & SERIAL_BITS;
    let name = ClientName(if operation.is_weeding() { WEEDER_NAME } else { SEEDER_NAME } | serial);
    let mut description = Description::new(Device {
        designator: Some(label(&machine.name)),
        ..Device::new(DEVICE, name, structure_label(0), LocalizationLabel::ENGLISH)
    });
    let whole = description.element(DeviceElementType::Device, &machine.name, 0);
    for (entry, properties, methods) in MACHINE_DATA {
        description.process(whole, *entry, *properties, *methods);
    }
    connector(&mut description, whole);
    antennas(&mut description, whole, machine);
    let toolbar = toolbar(&mut description, whole, machine, operation);
    let mut device = description.device;
    device.structure_label = structure_label(links::content_uuid(&device).as_u128());
    Described {
        machine: device.elements[whole].id,
        toolbar: device.elements[toolbar].id,
        device,
        rows: machine.row_offsets.len(),
    }
}

/// Another structure has another label: seven digits of what identifies it.
fn structure_label(identity: u128) -> StructureLabel {
    let digits = format!("{:07X}", identity >> 100);
    StructureLabel::new(digits.as_bytes()).expect("seven hexadecimal digits are seven bytes below FF")
}

type Datum = (Entry, DataProperties, LogMethods);

const SET: DataProperties = DataProperties::SETTABLE;
const LOGGED: DataProperties = DataProperties::DEFAULT_SET;
const OFTEN: LogMethods = LogMethods::TIME.and(LogMethods::DISTANCE).and(LogMethods::CHANGE);
const CHANGE: LogMethods = LogMethods::CHANGE;
const TOTAL: LogMethods = LogMethods::TIME.and(LogMethods::TOTAL);

/// What the machine as a whole is told and tells.
const MACHINE_DATA: &[Datum] = &[
    (ddi::SETPOINT_SPEED, SET, CHANGE),
    (ddi::ACTUAL_SPEED, LOGGED, OFTEN),
    (ddi::GUIDANCE_LINE_DEVIATION, LOGGED, OFTEN),
    (ddi::EFFECTIVE_TOTAL_DISTANCE, LOGGED, TOTAL),
    (ddi::INEFFECTIVE_TOTAL_DISTANCE, LOGGED, TOTAL),
    (ddi::EFFECTIVE_TOTAL_TIME, LOGGED, TOTAL),
    (ddi::INEFFECTIVE_TOTAL_TIME, LOGGED, TOTAL),
];

/// What the toolbar is told and tells.
const TOOLBAR_DATA: &[Datum] = &[
    (ddi::SETPOINT_WORK_STATE, SET, CHANGE),
    (ddi::ACTUAL_WORK_STATE, LOGGED, OFTEN),
    (ddi::SETPOINT_COUNT_PER_AREA, SET, CHANGE),
    (ddi::ACTUAL_COUNT_PER_AREA, LOGGED, OFTEN),
    (ddi::SETPOINT_SPACING, SET, CHANGE),
    (ddi::ACTUAL_SPACING, LOGGED, OFTEN),
    (ddi::SETPOINT_SEEDING_DEPTH, SET, CHANGE),
    (ddi::ACTUAL_SEEDING_DEPTH, LOGGED, OFTEN),
    (ddi::APPLICATION_TOTAL_COUNT, LOGGED, TOTAL),
    (ddi::TOTAL_AREA, LOGGED, TOTAL),
];

/// What a toolbar that weeds is told and tells.
const WEEDING_DATA: &[Datum] = &[
    (ddi::SETPOINT_WORK_STATE, SET, CHANGE),
    (ddi::ACTUAL_WORK_STATE, LOGGED, OFTEN),
    (ddi::SETPOINT_TILLAGE_DEPTH, SET, CHANGE),
    (ddi::ACTUAL_TILLAGE_DEPTH, LOGGED, OFTEN),
    (ddi::TOTAL_AREA, LOGGED, TOTAL),
];

/// What each row tells.
const ROW_DATA: &[Datum] = &[
    (ddi::ACTUAL_SINGULATION, LOGGED, OFTEN),
    (ddi::ACTUAL_SKIP, LOGGED, OFTEN),
    (ddi::ACTUAL_MULTIPLE, LOGGED, OFTEN),
];

fn connector(description: &mut Description, parent: usize) {
    let connector =
        description.element(DeviceElementType::Connector, "Toolbar mount", parent_of(description, parent));
    description.property(connector, ddi::CONNECTOR_TYPE, CHASSIS_MOUNTED);
    description.property(connector, ddi::OFFSET_X, 0);
    description.property(connector, ddi::OFFSET_Y, 0);
}

fn antennas(description: &mut Description, parent: usize, machine: &Machine) {
    for (i, BodyPoint { forward, right }) in machine.antennas.iter().enumerate() {
        let parent = parent_of(description, parent);
        let antenna =
            description.element(DeviceElementType::Navigation, &format!("Antenna {}", number(i)), parent);
        description.property(antenna, ddi::OFFSET_X, millimetres(*forward));
        description.property(antenna, ddi::OFFSET_Y, millimetres(*right));
        description.property(antenna, ddi::OFFSET_Z, millimetres(-machine.antenna_height));
    }
}

/// The toolbar, under it its rows from left to right, under each row its hopper where it sows.
fn toolbar(description: &mut Description, parent: usize, machine: &Machine, operation: Operation) -> usize {
    let parent = parent_of(description, parent);
    let toolbar = description.element(DeviceElementType::Function, "Toolbar", parent);
    description.property(toolbar, ddi::OFFSET_X, millimetres(machine.tool_forward));
    description.property(toolbar, ddi::OFFSET_Y, 0);
    description.property(toolbar, ddi::ACTUAL_WORKING_WIDTH, millimetres(machine.working_width));
    description.property(toolbar, ddi::MAXIMUM_WORKING_WIDTH, millimetres(machine.working_width));
    let toolbar_data = if operation.is_weeding() { WEEDING_DATA } else { TOOLBAR_DATA };
    for (entry, properties, methods) in toolbar_data {
        description.process(toolbar, *entry, *properties, *methods);
    }
    for entry in condensed_states(machine.row_offsets.len()) {
        description.process(toolbar, entry, LOGGED, CHANGE);
    }
    for (i, offset) in machine.row_offsets.iter().enumerate() {
        let parent = parent_of(description, toolbar);
        let row = description.element(DeviceElementType::Section, &format!("Row {}", number(i)), parent);
        description.property(row, ddi::OFFSET_X, millimetres(machine.tool_forward));
        description.property(row, ddi::OFFSET_Y, millimetres(*offset));
        description.property(row, ddi::ACTUAL_WORKING_WIDTH, millimetres(machine.row_spacing));
        if operation.is_weeding() {
            continue;
        }
        for (entry, properties, methods) in ROW_DATA {
            description.process(row, *entry, *properties, *methods);
        }
        let parent = parent_of(description, row);
        let hopper = description.element(DeviceElementType::Bin, &format!("Hopper {}", number(i)), parent);
        description.property(hopper, ddi::MAXIMUM_MASS_CONTENT, machine.hopper.to_g().round() as i32);
    }
    toolbar
}

/// The entries that hold the work states of so many rows.
pub fn condensed_states(rows: usize) -> impl Iterator<Item = Entry> {
    (0..rows.div_ceil(CONDENSED)).map(|i| ddi::ACTUAL_CONDENSED_WORK_STATE.following(i as u16))
}

fn millimetres(length: Length) -> i32 {
    length.to_mm().round() as i32
}

fn parent_of(description: &Description, element: usize) -> u16 {
    description.device.elements[element].object_id
}

/// A device description in the making. Object numbers count all its objects from 1; at most 200
/// rows keep them far below their limit. Elements share the objects that are alike.
struct Description {
    device: Device,
    objects: u16,
}

impl Description {
    const fn new(device: Device) -> Self {
        Self { device, objects: 0 }
    }

    fn next_object(&mut self) -> u16 {
        self.objects += 1;
        self.objects
    }

    /// Adds an element and tells its place in the list, which is also its number.
    fn element(&mut self, kind: DeviceElementType, name: &str, parent_object: u16) -> usize {
        let index = self.device.elements.len();
        let object = self.next_object();
        let id = DeviceElementId::office(number(index));
        self.device.elements.push(DeviceElement {
            designator: Some(label(name)),
            ..DeviceElement::new(id, object, kind, index as u16, parent_object)
        });
        index
    }

    fn property(&mut self, element: usize, entry: Entry, value: i32) {
        let object = self.property_object(entry, value);
        self.device.elements[element].objects.push(DeviceObjectReference::new(object));
    }

    fn property_object(&mut self, entry: Entry, value: i32) -> u16 {
        let known = self.device.properties.iter().find(|p| p.ddi == entry.ddi && p.value == value);
        if let Some(property) = known {
            return property.object_id;
        }
        let object = self.next_object();
        let presentation_object_id = self.presentation(entry);
        let property = DeviceProperty::new(object, entry.ddi, value);
        self.device.properties.push(DeviceProperty { presentation_object_id, ..property });
        object
    }

    fn process(&mut self, element: usize, entry: Entry, properties: DataProperties, methods: LogMethods) {
        let object = self.process_object(entry, properties, methods);
        self.device.elements[element].objects.push(DeviceObjectReference::new(object));
    }

    fn process_object(&mut self, entry: Entry, properties: DataProperties, methods: LogMethods) -> u16 {
        let known = self.device.process_data.iter().find(|data| data.ddi == entry.ddi);
        if let Some(data) = known {
            return data.object_id;
        }
        let object = self.next_object();
        let presentation_object_id = self.presentation(entry);
        let data = DeviceProcessData::new(object, entry.ddi, properties, methods);
        self.device.process_data.push(DeviceProcessData { presentation_object_id, ..data });
        object
    }

    /// How an entry is shown: in its own unit, shares in percent. A code has no presentation.
    fn presentation(&mut self, entry: Entry) -> Option<u16> {
        let (scale, decimals, unit) = match entry.unit {
            "" => return None,
            "ppm" => (1e-4, 1, "%"),
            unit if entry.resolution < 1.0 => (entry.resolution, 2, unit),
            unit => (entry.resolution, 0, unit),
        };
        let known = self.device.presentations.iter().find(|p| p.unit == Some(label(unit)));
        if let Some(presentation) = known {
            return Some(presentation.object_id);
        }
        let scale = Scale::nearest(scale)?;
        let object = self.next_object();
        self.device.presentations.push(DeviceValuePresentation {
            unit: Some(label(unit)),
            ..DeviceValuePresentation::new(object, 0, scale, decimals)
        });
        Some(object)
    }
}
