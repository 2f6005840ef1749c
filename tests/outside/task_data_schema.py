"""task_data_schema.py [--schemas FOLDER] FOLDER…: TASKDATA against XML Schemas.

On any machine: the schemas that the PyPI package isoxml-writer carries (a loosened copy), through
lxml, and through xmllint for a second reader. With --schemas, also the schemas of that folder,
through xmlschema, which resolves references across the files and tells those that lead nowhere.
"""

import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import isoxml_writer
import xmlschema
from emitted import run
from lxml import etree

CARRIED = Path(isoxml_writer.__file__).parent / "ISOXML_schema"


def kind_of(name):
    name = name.upper()
    if name == "TASKDATA.XML":
        return "TaskFile"
    if name == "LINKLIST.XML":
        return "LinkListFile"
    return "TimeLog" if name.startswith("TLG") else "ExternalFile"


def files(folder):
    found = sorted(p for p in (Path(folder) / "TASKDATA").iterdir() if p.suffix.upper() == ".XML")
    assert any(p.name == "TASKDATA.XML" for p in found), "no TASKDATA.XML"
    return found


def carried(folder, report):
    for path in files(folder):
        schema_file = CARRIED / f"ISO11783_{kind_of(path.name)}_V4-3.xsd"
        schema = etree.XMLSchema(etree.parse(str(schema_file)))
        schema.validate(etree.parse(str(path)))
        report.check("valid by the schemas of isoxml-writer", not schema.error_log,
                     f"{path.name}: {[str(e.message)[:160] for e in schema.error_log][:3]}")
        xmllint(path, schema_file, "xmllint agrees", report)


def xmllint(path, schema_file, what, report):
    said = subprocess.run(["xmllint", "--noout", "--nonet", "--schema", str(schema_file), str(path)],
                          capture_output=True, text=True, check=False)
    report.check(what, said.returncode == 0, f"{path.name}: {said.stderr[:300]}")


def strict(schemas):
    loaded = {
        kind: xmlschema.XMLSchema(str(schemas / f"ISO11783_{kind}_V4-3.xsd"))
        for kind in ("TaskFile", "ExternalFile", "LinkListFile", "TimeLog")
    }

    def check(folder, report):
        ids, references = set(), []
        for path in files(folder):
            for error in loaded[kind_of(path.name)].iter_errors(str(path)):
                dangling = re.match(r"IDREF '(.*)' not found", str(error.reason))
                if dangling:
                    references.append((path.name, dangling[1]))
                else:
                    report.check("valid by the strict schemas", False, f"{path.name}: {error.path}: {error.reason}")
            report.check("valid by the strict schemas", True)
            xmllint(path, schemas / f"ISO11783_{kind_of(path.name)}_V4-3.xsd", "xmllint agrees on the strict schemas", report)
            ids |= declared(path)
        lost = [r for r in references if r[1] not in ids]
        report.check("no reference leads nowhere", not lost, lost)

    return check


def declared(path):
    """The ids of a file: the attribute that holds an element's own id differs for a few."""
    own = {"LSG": "F", "PLN": "E", "PNT": "G"}
    found = set()
    for element in ElementTree.parse(path).iter():
        value = element.get(own.get(element.tag, "A"))
        if value and re.fullmatch(r"[A-Z]{3}-?\d+", value) and value.startswith(element.tag):
            found.add(value)
    return found


def main(arguments):
    check = [carried]
    if arguments[:1] == ["--schemas"]:
        check.append(strict(Path(arguments[1])))
        arguments = arguments[2:]
    run(lambda folder, report: [one(folder, report) for one in check], arguments)


if __name__ == "__main__":
    main(sys.argv[1:])
