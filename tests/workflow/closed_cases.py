"""Invented cases that were closed, with and without proof.

Low and healthy fuel pressures here: common practice, no source.
"""

from __future__ import annotations

from typing import Any

from witnessmark.workflow.case.shop_on_disk import entry_line


def fuel_case(
    *,
    gone: bool = True,
    flow: bool = True,
    engine_type: str = "example-15l",
    minutes: float = 75,
    quoted: tuple[float, float] | None = None,
) -> list[str]:
    """A relief valve renewed; proven with *flow* and the customer's word, else not.

    *quoted*: minutes and parts [USD] of an estimate.
    """

    def reading(quantity: str, value: str, rpm: float) -> str:
        data = {
            "quantity": quantity,
            "value": value,
            "point": {"rpm": rpm, "load": "none"},
            "instrument": {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"},
        }
        return entry_line("reading", data)

    complaint = entry_line(
        "complaint", {"words": "low fuel", "families": ["fuel_low"]}, entry_id="c1"
    )
    engine = {"fuel_supply": "gallery", "type": engine_type}
    work: dict[str, Any] = {
        "cause": "pump_relief",
        "did": "renewed",
        "minutes": minutes,
        "parts": [{"name": "spring", "usd": 40}],
    }
    rows = [
        entry_line("truck", {"label": "unit 1", "engine": engine}),
        complaint,
        reading("fuel_gallery_pressure", "65 psi", 650),
        reading("fuel_gallery_pressure", "78 psi", 1400),
        *(
            [
                entry_line(
                    "quote",
                    {
                        "lines": [
                            {
                                "what": "relief valve",
                                "minutes": quoted[0],
                                "usd": quoted[1],
                                "cause": "pump_relief",
                            }
                        ]
                    },
                )
            ]
            if quoted
            else []
        ),
        entry_line("work", work),
        reading("fuel_gallery_pressure", "75 psi", 650),
        reading("fuel_gallery_pressure", "95 psi", 1400),
    ]
    rows += [reading("fuel_return_flow", "0.5 gal/min", 650)] if flow else []
    rows += (
        [entry_line("outcome", {"complaint": "c1", "gone": True, "after_days": 1})] if gone else []
    )
    return rows
