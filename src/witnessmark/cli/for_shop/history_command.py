"""``witnessmark history``: what the shop's own proven cases have taught."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from witnessmark.cli.main import echo_json
from witnessmark.words.numbers import chance_about, chance_band, chance_words
from witnessmark.words.say import due as say

if TYPE_CHECKING:
    from witnessmark.workflow.shop.experience import Experience


@click.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(shop: Path, as_json: bool) -> None:
    """Show what SHOP's own cases have taught: shares, times, costs, seals, comebacks."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.experience import experience_json, experience_of

    found = experience_of(open_shop(shop))
    if as_json:
        echo_json(experience_json(found))
        return
    for line in _lines(found):
        click.echo(line)


def _lines(found: Experience) -> list[str]:
    lines: list[str] = []
    for family in found.families:
        lines.append(f"{family.family}: {family.words}")
        lines += [
            f"  {c.rank:2d}. {c.cause}: {chance_about(c.share, c.low, c.high)}, pack "
            f"{chance_words(c.prior)}, proven here {c.proven}"
            for c in family.causes
            if c.proven or c.second or c.rank == 1
        ]
    for job in found.jobs:
        who = f" by {job.technician}" if job.technician else ""
        time = (
            "time not written down" if job.minutes is None else f"{job.minutes:.0f} min on average"
        )
        lines.append(f"{job.cause}{who}: done {job.done} times, {time}")
        for what, ratio in (("time", job.times), ("parts", job.costs)):
            if ratio is not None:
                band = "" if ratio.low is None else f" ({ratio.low:.2f} to {ratio.high:.2f})"
                lines.append(
                    f"    {what}: {ratio.median:.2f} of the estimate{band}, {ratio.jobs} jobs"
                )
        for part in job.renewals:
            lines.append(
                f"    renewed with it in {part.share * part.jobs:.0f} of {part.jobs}: {part.part}"
            )
        if job.pooled is not None:
            lines.append(
                f"    {job.pooled.shops:,} shops together: {job.pooled.typical:.0f} min, "
                f"weighed as {job.pooled.weight:.0f} jobs"
            )
    for back in found.comebacks:
        many = (
            f", {back.shops:,} shops' rate weighed as {back.start_weight:.0f}" if back.shops else ""
        )
        lines.append(
            f"{back.cause}: came back {back.comebacks} of {back.closings} "
            f"({chance_band(back.low, back.high)}{many})"
        )
    lines += [
        say.person(p.person, p.comebacks, p.closings, p.expected, p.low, p.high)
        for p in found.people
    ]
    lines += [
        f"{test.test}: {test.rows} rows moved by {test.shops:,} shops, weighed as "
        f"{test.weight:.0f} results; {test.own:.0f} own results on top"
        for test in found.tests
    ]
    score = found.overrides
    lines.append(
        f"Own way taken {len(score.rows)} times: tool right {score.tool}, technician right "
        f"{score.technician}, level {score.level}, not yet proven {score.open}."
    )
    if not found.families:
        lines.insert(0, "No complaint is closed yet, so the odds rest on the packs alone.")
    return lines
