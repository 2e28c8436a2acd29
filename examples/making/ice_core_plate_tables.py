"""Writes the tables as found and the faulty variant of examples/ice-core-plate (invented data)."""

import csv
from pathlib import Path

OUT = Path(__file__).resolve().parent.parent / "ice-core-plate"
SMALL = {1: 0.004, 2: -0.006, 3: 0.003, 4: 0.008, 5: -0.012, 6: 0.01, 7: 0.0, 8: -0.004, 9: 0.015, 10: 0.006,
         11: -0.005, 12: 0.002, 13: -0.003, 20: 0.001}  # fmt: skip


def tables(folder: Path, lengths: dict[int, float], diameters: dict[int, float], slips: dict[int, float]) -> None:
    rows = ["units = mm", "slot,length,length_wear,diameter,diameter_wear"]
    for slot, length in lengths.items():
        rows.append(f"{slot},{length + slips.get(slot, 0.0):.3f},0,{diameters[slot]:g},0")
    (folder / "found-tools.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def main() -> None:
    text = (OUT / "tools.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()[1:]))
    lengths = {int(r["number"]): float(r["length"]) for r in rows}
    diameters = {int(r["number"]): float(r["diameter"]) for r in rows}
    tables(OUT, lengths, diameters, {})
    short = text.replace("slim 28", "slim 28")
    before = "4,end mill 2 long neck,flat,2,,,3,1.9,4,4,12,128,"
    assert before in short
    short = short.replace(before, "4,end mill 2 short,flat,2,,,3,,,4,6,122,")
    (OUT / "faulty" / "tools.csv").write_text(short, encoding="utf-8")
    # the groove tool was measured as held; the length of T6 was typed 3.6 mm short (digits swapped: 160 read as 156.4)
    tables(OUT / "faulty", {**lengths, 4: 122.0}, diameters, {6: -3.6})
    job = (OUT / "job.toml").read_text(encoding="utf-8")
    job = job.replace(
        "# Ice-core drill gearbox plate. Invented", "# Ice-core drill gearbox plate with three planted faults. Invented"
    )
    job = job.replace('shop = "../shop.toml"', 'shop = "../../shop.toml"')
    job = job.replace('"op1.nc"', '"../op1.nc"').replace('["holes.nc"]', '["../holes.nc"]')
    job = job.replace('"design.step"', '"../design.step"').replace('"found-offsets.csv"', '"../found-offsets.csv"')
    (OUT / "faulty" / "job.toml").write_text(job, encoding="utf-8")


if __name__ == "__main__":
    main()
