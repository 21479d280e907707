"""The shop's own figures for pricing and planning. Defaults are judgement, to be overwritten."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Settings"]


@dataclass(frozen=True, slots=True)
class Settings:
    """What an hour, a wait and a mistake cost in this shop.

    Every default is judgement (common practice, no source); the shop sets its own.

    Attributes:
        labour_usd_per_hour: posted hourly rate.
        waiting_usd_per_hour: what a bay costs that stands and waits (cool-down, warm-up).
        remeasure_minutes: time to measure the same points again after a repair, without a road
            test.
        road_test_minutes: time of one road test, hands-on.
        warm_up_minutes: waiting until a cold engine is at working temperature.
        cool_down_minutes: bay time until an engine is cold (part of it is overnight).
        parts_wait_minutes: waiting for parts that are not on the shelf, before a repair.
        second_person_usd_per_hour: what the helper costs while he helps.
        load_minutes: extra time to arrange a load (trailer, grade) for a loaded road test.
        downtime_usd_per_hour: what an hour usually costs an owner that his truck stands; a visit
            may say it of one truck. 0: not counted.
        comeback_usd: what it costs beyond the work when a repair does not hold and the truck comes
            back: the bay, the diagnosis anew, the goodwill.
        search_minutes: open-ended search when every listed cause has been dealt with.
        search_usd: outside help during that search.
        search_needless: needless repairs, of the family's usual size, that such a search costs.
        diagnostic_fee_usd: fee agreed at booking for the diagnosis.
        diagnostic_limit_usd: limit agreed for the diagnosis; beyond it the customer is asked.
        consumables_percent: shop supplies, percent of labour.
        consumables_cap_usd: at most this much for shop supplies on one estimate.
        parts_markup_percent: markup on parts whose price is the shop's cost; the packs' prices
            are selling prices, so it is 0 unless the shop enters costs.
        tax_percent_parts: tax on parts.
        tax_percent_labour: tax on labour.
        overrun_percent_allowed: how much of the approved sum may be exceeded without asking
            again (local law decides; 0 blocks every overrun).
        source: where these figures come from, shown beside them.
        labour_is_own: the hourly rate was set by the shop and is no judgement of the tool.
    """

    labour_usd_per_hour: float = 150.0
    waiting_usd_per_hour: float = 40.0
    remeasure_minutes: float = 20.0
    road_test_minutes: float = 30.0
    warm_up_minutes: float = 20.0
    cool_down_minutes: float = 60.0
    parts_wait_minutes: float = 45.0
    second_person_usd_per_hour: float = 60.0
    load_minutes: float = 15.0
    downtime_usd_per_hour: float = 0.0
    comeback_usd: float = 300.0
    search_minutes: float = 480.0
    search_usd: float = 300.0
    search_needless: float = 2.0
    diagnostic_fee_usd: float = 225.0
    diagnostic_limit_usd: float = 600.0
    consumables_percent: float = 5.0
    consumables_cap_usd: float = 60.0
    parts_markup_percent: float = 0.0
    tax_percent_parts: float = 0.0
    tax_percent_labour: float = 0.0
    overrun_percent_allowed: float = 0.0
    source: str = "judgement (common practice, no source); set your own"
    labour_is_own: bool = False
