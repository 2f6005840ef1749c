// task_data.js FOLDER…: the task data set through the npm package isoxml.
//
// It must read without a warning, resolve every reference, and give back what the other files say:
// the boundaries and keep-outs, one guidance line for each lane with the same ends, and the rates
// of the seed map. Prints a line a check, as tests/run.sh counts them.
"use strict";
process.env.TZ = "UTC";
const fs = require("fs");
const path = require("path");
const JSZip = require("jszip");
const { ISOXMLManager } = require("isoxml");

const DEGREE = 1.1e-9;
const [COUNT_PER_AREA, SEED_SPACING, TILLAGE_DEPTH] = ["000B", "0010", "0033"];

class Report {
  constructor(folder) {
    this.name = path.basename(folder);
    this.failures = new Map();
  }
  check(what, holds, detail = "") {
    if (!this.failures.has(what)) this.failures.set(what, []);
    if (!holds) this.failures.get(what).push(detail);
    return holds;
  }
  print() {
    for (const [what, details] of this.failures) {
      console.log(details.length ? `FAIL ${this.name}: ${what}: ${details.slice(0, 3).join("; ")}` : `ok ${this.name}: ${what}`);
    }
    return [...this.failures.values()].every((details) => details.length === 0);
  }
}

async function read(folder) {
  const zip = new JSZip();
  const taskData = path.join(folder, "TASKDATA");
  for (const file of fs.readdirSync(taskData)) {
    zip.file(`TASKDATA/${file}`, fs.readFileSync(path.join(taskData, file)));
  }
  const manager = new ISOXMLManager();
  await manager.parseISOXMLFile(await zip.generateAsync({ type: "uint8array" }), "application/zip");
  return manager;
}

async function check(folder, report) {
  const manager = await read(folder);
  const plan = JSON.parse(fs.readFileSync(path.join(folder, "plan.geojson"), "utf8")).features;
  const manifest = JSON.parse(fs.readFileSync(path.join(folder, "manifest.json"), "utf8"));
  const passes = manifest.weeding || [];
  // A weeding pass refers to the seed map of the sowing and has none of its own.
  const seedRows = passes.length ? [] : JSON.parse(fs.readFileSync(path.join(folder, "seed-rows.geojson"), "utf8")).features;
  const warnings = manager.getWarnings();
  report.check("reads without a warning", warnings.length === 0, warnings.slice(0, 3).join(", "));
  const lost = Object.values(manager.xmlReferences).filter((reference) => !reference.entity);
  report.check("every reference resolves", lost.length === 0, lost.map((reference) => reference.xmlId).join(", "));

  const root = manager.rootElement.attributes;
  report.check("version 4.3", `${root.VersionMajor}.${root.VersionMinor}` === "4.3", `${root.VersionMajor}.${root.VersionMinor}`);
  const fields = [...new Set(plan.filter((f) => f.properties.kind === "boundary").map((f) => f.properties.field))];
  report.check("a partfield for each field", (root.Partfield || []).length === fields.length);
  report.check("a task for each field", (root.Task || []).length === fields.length);
  fields.forEach((field, index) => {
    const own = plan.filter((feature) => feature.properties.field === field);
    polygons(root.Partfield[index], own, field, report);
    guidance(root.Partfield[index], own, field, report);
    const pass = passes.find((asked) => asked.field === field);
    if (pass) depth(root.Task[index], pass, report);
    else {
      const zones = own.filter((feature) => feature.properties.kind === "zone").map((feature) => feature.properties);
      rates(root.Task[index], seedRows.find((feature) => feature.properties.field === field), zones, manifest.machine.row_offsets_m, report);
      if (zones.length) grid(root.Task[index], zones, field, report);
    }
  });
}

const wrapped = ([longitude, latitude]) => [longitude - 360 * Math.round(longitude / 360), latitude];
const near = (a, b) => {
  const [u, v] = [wrapped(a), wrapped(b)];
  return Math.abs(u[0] - v[0]) <= DEGREE && Math.abs(u[1] - v[1]) <= DEGREE;
};
const pointsOf = (line) => line.attributes.Point.map((point) => [point.attributes.PointEast, point.attributes.PointNorth]);

/** The rings of the plan's features of a kind, as the standard holds them: one polygon each. */
function ringsOf(features, kind) {
  return features
    .filter((feature) => feature.properties.kind === kind)
    .flatMap(({ geometry }) => (geometry.type === "MultiPolygon" ? geometry.coordinates : [geometry.coordinates]))
    .flat();
}

function polygons(partfield, features, field, report) {
  const all = partfield.attributes.PolygonnonTreatmentZoneonly || [];
  for (const [type, kind] of [["1", "boundary"], ["6", "keep-out"]]) {
    const read = all
      .filter((polygon) => polygon.attributes.PolygonType === type)
      .flatMap((polygon) => polygon.attributes.LineString.map(pointsOf));
    const expected = ringsOf(features, kind);
    const same =
      read.length === expected.length &&
      expected.every((ring) => read.some((other) => other.length === ring.length && ring.every((p) => other.some((q) => near(p, q)))));
    report.check(`the same polygons: ${kind}`, same, `${field}: ${read.length} rings, ${expected.length} in the plan`);
  }
}

function guidance(partfield, features, field, report) {
  const patterns = (partfield.attributes.GuidanceGroup || []).flatMap((group) => group.attributes.GuidancePattern);
  const lanes = features
    .filter((feature) => feature.properties.kind === "lane")
    .sort((a, b) => a.properties.order - b.properties.order);
  if (!report.check("a guidance line for each lane", patterns.length === lanes.length, `${field}: ${patterns.length} of ${lanes.length}`)) return;
  patterns.forEach((pattern, index) => {
    const line = pointsOf(pattern.attributes.LineString[0]);
    const lane = lanes[index].geometry.coordinates;
    const same = near(line[0], lane[0]) && near(line.at(-1), lane.at(-1));
    report.check("guidance lines begin and end as the lanes, in driving order", same, `${field}, lane ${index + 1}`);
  });
}

/** What the zone in which the work is done sets, by its data dictionary entry. */
function workValues(task) {
  const zone = (task.attributes.TreatmentZone || []).find(
    (candidate) => candidate.attributes.TreatmentZoneCode === task.attributes.DefaultTreatmentZoneCode,
  );
  return new Map(
    (zone?.attributes.ProcessDataVariable || []).map(({ attributes }) => [attributes.ProcessDataDDI, attributes.ProcessDataValue]),
  );
}

function depth(task, pass, report) {
  const set = workValues(task).get(TILLAGE_DEPTH);
  report.check("the tools are set as deep as the pass works", Math.abs(set - 1000 * pass.depth_m) < 0.5, `${set} mm`);
}

/** The cells of the task's grid have the rates of the zones, and nothing else but those of soil in none. */
function grid(task, zones, field, report) {
  const [only, ...more] = task.attributes.Grid || [];
  if (!report.check("one grid for a field with zones", only && more.length === 0, field)) return;
  const zone = task.attributes.TreatmentZone.find((candidate) => candidate.attributes.TreatmentZoneCode === only.attributes.TreatmentZoneCode);
  const layers = zone.attributes.ProcessDataVariable.map(({ attributes }) => attributes.ProcessDataDDI);
  const cells = only.toGeoJSON(layers).features.map((feature) => feature.properties[COUNT_PER_AREA]);
  const own = workValues(task).get(COUNT_PER_AREA);
  const found = new Set(cells);
  const missing = zones.filter(({ rate }) => ![...found].some((value) => Math.abs(value - own * rate) <= 1 + own * 1e-4));
  report.check("every zone's rate is in the grid", missing.length === 0, missing.map(({ name }) => name).join(", "));
  report.check("the grid has no more rates than the field", found.size <= zones.length + 2, `${[...found]}`);
}

function rates(task, seedRow, zones, offsets, report) {
  const { zone, hill_seeds: seeds = 1 } = seedRow.properties;
  // What holds for the whole task is the field's own spacing.
  const share = zones.find(({ name }) => name === zone)?.rate ?? 1;
  const spacing = seedRow.properties.spacing_m * share;
  const between = (offsets.at(-1) - offsets[0]) / (offsets.length - 1);
  const values = workValues(task);
  const rate = values.get(COUNT_PER_AREA);
  report.check("the count per area is the lattice's", Math.abs(rate - (1000 * seeds) / (spacing * between)) <= 0.5, rate);
  report.check("the seed spacing is the lattice's", Math.abs(values.get(SEED_SPACING) - 1000 * spacing) <= 0.5, values.get(SEED_SPACING));
}

(async () => {
  const folders = process.argv.slice(2);
  if (folders.length === 0) {
    console.log("FAIL nothing to check: no folder was given");
    process.exit(1);
  }
  let good = true;
  for (const folder of folders) {
    const report = new Report(folder);
    try {
      await check(folder, report);
    } catch (error) {
      report.check("is readable", false, String(error.message || error));
    }
    good = report.print() && good;
  }
  process.exit(good ? 0 : 1);
})();
