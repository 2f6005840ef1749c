//! The folder's files: whether they are the ones that the job means, and what they say of fields,
//! frames and base station.

use super::field::pattern;
use crate::check::{
    BaseStation, BlockRates, Crop, Entrance, Field, FieldPlaces, Frames, GeoPolygon, Guidance, Headland,
    HeadlandSize, HeadlandSown, KeepOut, KeepOutShape, LapCorners, Layout, Pattern, ReferenceFrame, Spacing,
    WeedingJob, named_frame,
};
use crate::diagnostic::{Finding, Span};
use crate::read::span;
use crate::rules;
use chrono::NaiveDate;
use lanewright_schema::job::nearest;
use lanewright_schema::manifest::{FieldFigures, Manifest};
use lanewright_schema::plan::{Feature, Plan, Position, Shape, What};
use lanewright_schema::quantity::{GeoPoint, Length, Mass, Time};
use lanewright_schema::seedmap::rows::{self, SeedRow};
use sha2::{Digest, Sha256};

/// A sown folder as read.
pub struct Folder {
    /// Its manifest.
    pub manifest: Manifest,
    /// Its plan.
    pub plan: Plan,
    /// Its runs of seeds.
    pub rows: Vec<SeedRow>,
    /// Where the job names it.
    span: Span,
}

impl Folder {
    /// Reads the files and holds their digests against the job's pin.
    pub fn read(asked: &WeedingJob, findings: &mut Vec<Finding>) -> Result<Self, Finding> {
        let files = &asked.sown.value;
        let named = span(&asked.sown.place);
        let unreadable = |name: &str, why: String| {
            let message = format!("`{}/{name}` is not what a compile writes: {why}", files.folder);
            rules::finding("sown/unreadable", message)
                .with_span(named.clone(), "in this folder")
                .with_hint("compile the sowing job with this version of the program")
        };
        findings.extend(pin(asked)?);
        let manifest: Manifest = serde_json::from_slice(&files.manifest)
            .map_err(|error| unreadable("manifest.json", error.to_string()))?;
        for (name, bytes) in [("plan.geojson", &files.plan), ("seed-rows.geojson", &files.seed_rows)] {
            unchanged(&manifest, name, bytes, &files.folder, &named)?;
        }
        if manifest.order.operations != ["sowing"] {
            let message =
                format!("`{}` holds {}, not sowing", files.folder, manifest.order.operations.join(", "));
            return Err(rules::finding("sown/not-sowing", message)
                .with_span(named.clone(), "this folder")
                .with_hint("name the folder of the sowing job; every pass is computed from it"));
        }
        let text = |name, bytes: &[u8]| {
            std::str::from_utf8(bytes).map(str::to_owned).map_err(|e| unreadable(name, e.to_string()))
        };
        let plan = Plan::from_geojson(&text("plan.geojson", &files.plan)?)
            .map_err(|error| unreadable("plan.geojson", error.to_string()))?;
        let rows = rows::read(&text("seed-rows.geojson", &files.seed_rows)?)
            .map_err(|error| unreadable("seed-rows.geojson", error.to_string()))?;
        Ok(Self { manifest, plan, rows, span: named })
    }

    /// The finding that something in the folder does not fit together, which no compile leaves.
    pub fn torn(&self, what: &str) -> Finding {
        rules::finding("sown/unreadable", format!("the sown folder does not fit together: {what}"))
            .with_span(self.span.clone(), "in this folder")
            .with_hint("compile the sowing job with this version of the program")
    }

    /// The day on which the sowing was ordered.
    pub fn issued(&self) -> Result<NaiveDate, Finding> {
        self.manifest.order.issued.parse().map_err(|_| self.torn("`order.issued` is no date"))
    }

    /// Every coordinate of a weeding job is in the frame of the seed map, and so must the base
    /// station's be: what has drifted since would move every blade.
    pub fn frames(&self, asked: &WeedingJob) -> Result<Frames, Finding> {
        let frame = &self.manifest.frame;
        let known =
            named_frame(&frame.reference).ok_or_else(|| self.torn("its reference frame is unknown"))?;
        let map = ReferenceFrame { epoch: frame.epoch, ..known };
        let in_words = |frame: &ReferenceFrame| match frame.epoch {
            Some(epoch) => format!("{}@{epoch}", frame.name),
            None => frame.name.clone(),
        };
        if let Some(today) = &asked.base_station_frame
            && (today.proj != map.proj || today.epoch != map.epoch)
        {
            let (today_name, map_name) = (in_words(today), in_words(&map));
            let message = format!("the base station works in {today_name}, the seed map lies in {map_name}");
            return Err(rules::finding("sown/other-frame", message)
                .with_span_if(today.span.as_ref(), "another frame than that of the seeds")
                .with_hint(format!("set the base station up as for sowing and write \"{map_name}\"")));
        }
        Ok(Frames {
            survey: map.clone(),
            base_station: map.clone(),
            output: map,
            ground: frame.ground.as_deref().and_then(named_frame),
            height: Length::ZERO,
        })
    }

    /// The base station of the sowing.
    pub fn base_station(&self) -> Option<BaseStation> {
        self.plan.features.iter().find_map(|feature| match (&feature.what, &feature.shape) {
            (What::BaseStation { name, height_m }, Shape::Point(at)) => Some(BaseStation {
                name: name.clone(),
                at: geo_point(at),
                height: Length::m(*height_m),
                span: self.span.clone(),
            }),
            _ => None,
        })
    }

    /// The fields that are weeded, in the folder's order.
    pub fn fields(&self, asked: &WeedingJob) -> Result<Vec<Field>, Finding> {
        let names: Vec<&str> = self.manifest.fields.iter().map(|field| field.name.as_str()).collect();
        for wanted in &asked.fields {
            if !names.contains(&wanted.value.as_str()) {
                let message = format!("the seed map has no field `{}`", wanted.value);
                let hint = match nearest(&wanted.value, names.iter().copied()) {
                    Some(near) => format!("did you mean `\"{near}\"`?"),
                    None => format!("its fields are: {}", names.join(", ")),
                };
                return Err(rules::finding("sown/other-field", message)
                    .with_span(span(&wanted.place), "not sown by this job")
                    .with_hint(hint));
            }
        }
        let wanted = |name: &str| asked.fields.is_empty() || asked.fields.iter().any(|w| w.value == name);
        self.manifest
            .fields
            .iter()
            .filter(|field| wanted(&field.name))
            .map(|field| self.field(field, asked.pass.over_sown_rows))
            .collect()
    }

    /// A field that the table of missing seeds names and the seed map has not.
    pub fn field_not_sown(&self, asked: &WeedingJob) -> Option<Finding> {
        let is_sown = |name: &str| self.manifest.fields.iter().any(|field| field.name == name);
        let strange = asked.pass.missing.iter().find(|place| !is_sown(&place.field))?;
        let names: Vec<&str> = self.manifest.fields.iter().map(|field| field.name.as_str()).collect();
        Some(
            rules::finding(
                "weeding/missing-seeds",
                format!(
                    "the table of missing seeds names the field `{}`, which the seed map has not",
                    strange.field
                ),
            )
            .with_span(asked.pass.places.missing.clone(), "of another map")
            .with_hint(format!("take the log of this very sowing; its fields are: {}", names.join(", "))),
        )
    }

    /// The features of one field.
    pub fn features<'a>(&'a self, field: &'a str) -> impl Iterator<Item = &'a Feature> {
        self.plan.features.iter().filter(move |feature| feature.field.as_deref() == Some(field))
    }

    fn field(&self, figures: &FieldFigures, over_sown_rows: Time) -> Result<Field, Finding> {
        let name = figures.name.as_str();
        let mut parts = Vec::new();
        let mut fence_margin = None;
        let mut keep_outs = Vec::new();
        let mut home = None;
        let mut entrances = Vec::new();
        for feature in self.features(name) {
            match (&feature.what, &feature.shape) {
                (What::Boundary { .. }, Shape::Area(polygons)) => {
                    parts.extend(polygons.iter().filter_map(|rings| geo_polygon(rings)));
                }
                (What::Fence { margin_m, .. }, _) => fence_margin = Some(Length::m(*margin_m)),
                (What::KeepOut { name, clearance_m }, Shape::Area(polygons)) => {
                    keep_outs.extend(polygons.iter().filter_map(|rings| {
                        Some(KeepOut {
                            name: name.clone(),
                            shape: KeepOutShape::Ring(ring(rings.first()?)),
                            clearance: Length::m(*clearance_m),
                            span: self.span.clone(),
                        })
                    }));
                }
                (What::Home { name }, Shape::Point(at)) if name == "home" => home = Some(geo_point(at)),
                (What::Home { name }, Shape::Point(at)) => {
                    entrances.push(Entrance { name: name.clone(), at: geo_point(at) });
                }
                _ => {}
            }
        }
        if parts.is_empty() {
            return Err(self.torn(&format!("`{name}` has no boundary")));
        }
        let first_run = self.rows.iter().find(|row| row.run.field == name);
        Ok(Field {
            name: name.to_owned(),
            parts,
            keep_outs,
            fence_margin: fence_margin.ok_or_else(|| self.torn(&format!("`{name}` has no fence")))?,
            over_sown_rows,
            headland: Headland {
                size: HeadlandSize::None,
                sown: HeadlandSown::Last,
                corners: LapCorners::Round,
            },
            layout: Layout::following(Guidance::Best),
            home,
            entrances,
            refill_points: Vec::new(),
            crop: crop(figures),
            spacing: Spacing {
                between_rows: Length::m(figures.crop.row_spacing_m),
                between_seeds: Length::m(first_run.map_or(0.0, |row| row.run.spacing_m)),
                pattern: first_run.map_or(Pattern::Single, |row| pattern(&row.run)),
                stagger: 0.0,
                precision: None,
                row_end_margin: Length::ZERO,
                own_rows: Vec::new(),
                tramlines: None,
            },
            zones: None,
            block_rates: BlockRates::none(),
            span: self.span.clone(),
            places: FieldPlaces::default(),
        })
    }
}

fn crop(figures: &FieldFigures) -> Crop {
    let crop = &figures.crop;
    Crop {
        name: crop.name.clone(),
        variety: crop.variety.clone(),
        depth: Length::m(crop.depth_m),
        thousand_seed_mass: Mass::g(crop.thousand_seed_g),
        germination: crop.germination,
        field_emergence: crop.field_emergence,
        seeds_per_unit: None,
        plant_scatter: Length::ZERO,
    }
}

/// Holds the manifest against the pin; without one, tells what to pin.
fn pin(asked: &WeedingJob) -> Result<Option<Finding>, Finding> {
    let files = &asked.sown.value;
    let found = sha256(&files.manifest);
    match &asked.pin {
        Some(pin) if pin.value.eq_ignore_ascii_case(&found) => Ok(None),
        Some(pin) => Err(changed(
            format!("`{}/manifest.json` is not the one that this job was written for", files.folder),
            span(&pin.place),
            format!("only if you accept the folder as it is now: `sown_digest = \"{found}\"`"),
        )),
        None => Ok(Some(
            rules::finding("sown/not-pinned", "the job takes the seed map as it is, whatever became of it")
                .with_span(span(&asked.sown.place), "no digest is pinned")
                .with_hint(format!("add `sown_digest = \"{found}\"`")),
        )),
    }
}

/// Holds a file against its digest in the manifest.
fn unchanged(
    manifest: &Manifest,
    name: &str,
    bytes: &[u8],
    folder: &str,
    named: &Span,
) -> Result<(), Finding> {
    let found = sha256(bytes);
    let listed = manifest.outputs.iter().find(|file| file.path == name).map(|file| file.sha256.as_str());
    if listed == Some(found.as_str()) {
        return Ok(());
    }
    Err(changed(
        format!("`{folder}/{name}` was changed after it was compiled: its digest is {found}"),
        named.clone(),
        "take the folder as the sowing job's compile left it, or compile that job anew".to_owned(),
    ))
}

fn changed(message: String, span: Span, hint: String) -> Finding {
    rules::finding("sown/changed", message).with_span(span, "changed since").with_hint(hint)
}

fn sha256(bytes: &[u8]) -> String {
    crate::emit::hexadecimal(&Sha256::digest(bytes))
}

fn geo_point(at: &Position) -> GeoPoint {
    GeoPoint { longitude: crate::site::frame::wrap_longitude(at[0]), latitude: at[1] }
}

/// A ring without its repeated end.
fn ring(ring: &[Position]) -> Vec<GeoPoint> {
    let corners = ring.len().saturating_sub(1);
    ring.iter().take(corners).map(geo_point).collect()
}

fn geo_polygon(rings: &[Vec<Position>]) -> Option<GeoPolygon> {
    let (exterior, holes) = rings.split_first()?;
    Some(GeoPolygon { exterior: ring(exterior), holes: holes.iter().map(|hole| ring(hole)).collect() })
}
