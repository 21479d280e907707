"""Write the bill of materials of a build: what is installed with the wheel, with hashes.

    python release/sbom.py WHEEL OUT.cdx.json

CycloneDX 1.6, made with the library of that standard and held against its schema. The hashes of a
library are those of every file of it that the lock allows; its own are those of the wheel. The
same wheel and the same lock give the same bytes.
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path
from uuid import UUID

from cyclonedx.model import HashAlgorithm, HashType, Property
from cyclonedx.model.bom import Bom
from cyclonedx.model.component import Component, ComponentType
from cyclonedx.model.license import DisjunctiveLicense
from cyclonedx.output.json import JsonV1Dot6
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packageurl import PackageURL
from parts import Part, parts


def bill(wheel: Path, found: list[Part]) -> str:
    """Return the bill as JSON.

    Raises:
        SystemExit: what was made breaks the schema of the standard.
    """
    version = wheel.name.split("-")[1]
    own = hashlib.sha256(wheel.read_bytes())
    made = Component(
        name="witnessmark", version=version, type=ComponentType.APPLICATION, bom_ref="witnessmark",
        licenses=[DisjunctiveLicense(id="Apache-2.0")], hashes=[_hash(own.hexdigest())],
        purl=PackageURL("pypi", name="witnessmark", version=version),
    )  # fmt: skip
    library = {part.name: _component(part) for part in found}
    bom = Bom(components=library.values(), serial_number=UUID(bytes=own.digest()[:16], version=4))
    bom.metadata.component = made
    # The clock's time is no fact of the build: without it the same wheel gives the same bytes.
    bom.metadata.timestamp = None  # type: ignore[assignment]
    bom.register_dependency(made, library.values())
    for part in found:
        bom.register_dependency(
            library[part.name], [library[n] for n in part.needs if n in library]
        )
    text = JsonV1Dot6(bom).output_as_string(indent=1)
    broken = JsonStrictValidator(SchemaVersion.V1_6).validate_str(text)
    if broken is not None:
        sys.exit(f"the bill breaks the schema: {broken}")
    return text + "\n"


def _component(part: Part) -> Component:
    return Component(
        name=part.name, version=part.version, type=ComponentType.LIBRARY, bom_ref=part.name,
        licenses=[DisjunctiveLicense(name=part.licence)],
        purl=PackageURL("pypi", name=part.name, version=part.version),
        properties=[Property(name="witnessmark:file:sha256", value=h) for h in part.hashes],
    )  # fmt: skip


def _hash(value: str) -> HashType:
    return HashType(alg=HashAlgorithm.SHA_256, content=value)


if __name__ == "__main__":
    Path(sys.argv[2]).write_text(bill(Path(sys.argv[1]), parts()), encoding="utf-8")
