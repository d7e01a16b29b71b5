"""Writes the JSON Schema files of all documents into the package: python -m assets.schemas"""

from __future__ import annotations

from assets.schemas.made import FOLDER, encoded, schemas


def main() -> None:
    wanted = schemas()
    FOLDER.mkdir(exist_ok=True)
    for path in FOLDER.glob("*.json"):
        if path.name not in wanted:
            path.unlink()
    for name, schema in wanted.items():
        (FOLDER / name).write_bytes(encoded(schema))
    print(f"{len(wanted)} schemas in {FOLDER}")


if __name__ == "__main__":
    main()
