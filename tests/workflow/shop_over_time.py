"""An invented shop over time: a truck of five visits, and one with all that can be due."""

from __future__ import annotations

import json
from pathlib import Path

from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.case.shop_settings import ShopInstrument, save_instrument


def dated(kind: str, at: str, identity: str, **data: object) -> str:
    """Return an entry of that day."""
    row = json.loads(entry_line(kind, data, entry_id=identity))
    return json.dumps({**row, "at": f"{at}T09:00:00Z"})


def shop_over_time(folder: Path) -> Shop:
    """Make the shop."""
    shop = open_shop(folder, create=True)
    for number, psi in enumerate((60.0, 61.0, 59.5, 60.5, 44.0)):
        day = f"2031-0{number + 1}-10"
        shop.new_case(f"visit-{number}", [
            dated("truck", day, "t", label="unit 7", miles=600_000 + 3000 * number),
            dated("complaint", day, "c", words="weak", families=["low_power"]),
            dated("reading", day, "r", quantity="oil_pressure", value=f"{psi} psi",
                  point={"rpm": 1200, "load": "none"}),
            dated("outcome", day, "o", complaint="c", gone=number < 4),
        ])  # fmt: skip
    shop.new_case("nuts", [
        dated("truck", "2031-05-01", "t", label="unit 9", miles=100_000),
        dated("complaint", "2031-05-01", "c", words="shakes", families=["wheel_end"]),
        dated("note", "2031-05-01", "n1", words="Tighten again: wheel nuts",
              due={"miles": 100_100}),
        dated("note", "2031-05-01", "n2", words="Oil sample",
              due={"hours": 9000, "on": "2031-07-01"}),
        dated("note", "2031-05-01", "n3", words="Seal looked at", due={"on": "2031-05-10"}),
        dated("note", "2031-05-12", "n4", words="Done", done="n3"),
        dated("part", "2031-05-02", "p", name="hub seal", state="promised", on="2031-05-18"),
        dated("part", "2031-05-02", "q", name="drum", state="arrived", core_usd=80,
              core_due="2031-06-01"),
        dated("visit", "2031-05-02", "v", odometer_in="100,020 mi", promised="2031-05-19"),
        dated("work", "2031-05-12", "w", did="bearing set", cause=None),
    ])  # fmt: skip
    save_instrument(shop, ShopInstrument("g1", calibrated="2030-01-15"))
    save_instrument(shop, ShopInstrument("g2"))
    save_instrument(shop, ShopInstrument("g3", calibrated="2031-03-01"))
    return shop
