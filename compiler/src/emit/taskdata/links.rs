//! The link list: a UUID for each object of the set, so that the same thing is known again in
//! another set.
//!
//! Each is a version 5 UUID (RFC 9562). What a person names is known by its names: the same
//! customer, farm, field, machine, seed lot or base station has the same UUID in every job. What is
//! computed, guidance and tasks, is known by its content.

use super::lots::Lots;
use super::{BASE_STATION, CUSTOMER, FARM, device, label};
use crate::check::{Job, Machine};
use lanewright_schema::taskdata::{
    Element, Link, LinkGroup, LinkGroupId, LinkGroupType, LinkList, MajorVersion, MinorVersion, Partfield,
    TaskData, TransferOrigin, write,
};
use uuid::Uuid;

/// The links of a set made from a job.
pub fn link_list(set: &TaskData, job: &Job, lots: &Lots) -> LinkList {
    let mut group = LinkGroup::new(LinkGroupId::office(1), LinkGroupType::Uuid);
    group.designator = Some(label("Lanewright"));
    group.links = links(set, job, lots);
    let mut list = LinkList::new(
        MajorVersion::Four,
        MinorVersion::Three,
        set.management_software_manufacturer.clone(),
        set.management_software_version.clone(),
        TransferOrigin::Office,
    );
    list.groups.push(group);
    list
}

/// The identity of a machine.
pub fn machine_uuid(machine: &Machine) -> Uuid {
    uuid(&["machine", &machine.name])
}

/// The identity of an element by all that it says.
pub fn content_uuid<E: Element>(element: &E) -> Uuid {
    uuid(&["content", &write(element)])
}

fn links(set: &TaskData, job: &Job, lots: &Lots) -> Vec<Link> {
    let order = &job.order;
    let mut links = vec![
        Link::uuid(CUSTOMER, uuid(&["customer", &order.customer])),
        Link::uuid(FARM, uuid(&["farm", &order.customer, &order.farm])),
    ];
    if let Some(base) = &job.base_station {
        links.push(Link::uuid(BASE_STATION, uuid(&["base station", &base.name])));
    }
    for lot in lots.iter() {
        let names = [lot.crop.name.as_str(), &lot.crop.variety];
        let mass = lot.crop.thousand_seed_mass.to_g().to_string();
        links.push(Link::uuid(lot.product, uuid(&["seed", names[0], names[1], &mass])));
        links.push(Link::uuid(lot.variety, uuid(&["variety", names[0], names[1], &mass])));
    }
    for crop in &set.crop_types {
        let full = lots.iter().find(|lot| lot.crop_type == crop.id).map_or("", |lot| &lot.crop.name);
        links.push(Link::uuid(crop.id, uuid(&["crop", full])));
    }
    for practice in &set.cultural_practices {
        links.push(Link::uuid(practice.id, uuid(&["practice", practice.designator.as_str()])));
    }
    for technique in &set.operation_techniques {
        links.push(Link::uuid(technique.id, uuid(&["technique", technique.designator.as_str()])));
    }
    for comment in &set.comments {
        links.push(Link::uuid(comment.id, uuid(&["comment", comment.designator.as_str()])));
    }
    links.push(Link::uuid(device::DEVICE, machine_uuid(&job.machine)));
    for (field, partfield) in job.fields.iter().zip(&set.partfields) {
        let identity = uuid(&["field", &order.customer, &order.farm, &field.name]);
        links.push(Link::uuid(partfield.id, identity));
        links.extend(guidance_links(identity, partfield));
    }
    links.extend(set.tasks.iter().map(|task| Link::uuid(task.id, content("task", job, task))));
    links
}

fn guidance_links(field: Uuid, partfield: &Partfield) -> Vec<Link> {
    let mut links = Vec::new();
    for group in &partfield.guidance_groups {
        links.push(Link::uuid(group.id, within(field, group)));
        links.extend(group.patterns.iter().map(|pattern| Link::uuid(pattern.id, within(field, pattern))));
    }
    links
}

fn within<E: Element>(field: Uuid, element: &E) -> Uuid {
    uuid(&["guidance", &field.to_string(), &write(element)])
}

fn content<E: Element>(kind: &str, job: &Job, element: &E) -> Uuid {
    let order = &job.order;
    uuid(&[kind, &order.customer, &order.farm, &order.title, &write(element)])
}

/// Of a kind and its names; what stands between them is in none.
fn uuid(names: &[&str]) -> Uuid {
    let namespace = Uuid::new_v5(&Uuid::nil(), b"Lanewright");
    Uuid::new_v5(&namespace, names.join("\u{1F}").as_bytes())
}
