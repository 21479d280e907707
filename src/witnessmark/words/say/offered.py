"""What is said on the estimate and on the page that asks the customer for a yes."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence


@sentence("offer.title")
def title() -> str:
    """Head the estimate."""
    return "Estimate"


@sentence("offer.version", number=2)
def version(number: int) -> str:
    """Say which version of an estimate this is."""
    return f"version {number}"


@sentence("offer.complaint")
def complaint() -> str:
    """Head what the customer said."""
    return "You told us"


@sentence("offer.what_we_propose")
def what_we_propose() -> str:
    """Head the proposal."""
    return "What we propose"


@sentence("offer.line_head")
def line_head() -> str:
    """Head the column of the lines."""
    return "As quoted"


@sentence("offer.time_head")
def time_head() -> str:
    """Head the column of times."""
    return "Time"


@sentence("offer.price_head")
def price_head() -> str:
    """Head the column of prices."""
    return "Price"


@sentence("offer.unpriced")
def unpriced() -> str:
    """Say that nobody has priced a line."""
    return "not priced yet"


@sentence("offer.if_left", risk="soon")
def if_left(risk: str) -> str:
    """Say what it means to leave a line undone."""
    return f"if left undone: {risk}"


@sentence("offer.stage_sum", stage="find out first")
def stage_sum(stage: str) -> str:
    """Name the sum of a stage."""
    return f"Together, {stage}"


@sentence("offer.other_stage")
def other_stage() -> str:
    """Name the lines of no stage."""
    return "the rest"


@sentence("offer.then_decide")
def then_decide() -> str:
    """Say that a staged estimate is decided in steps."""
    return "Each stage is decided on by itself: nothing of a later one is done before you say so."


@sentence("offer.rounded")
def rounded() -> str:
    """Name what a total that was rounded by hand differs by."""
    return "Rounded"


@sentence("offer.given_on", day="2026-03-02")
def given_on(day: str) -> str:
    """Say when it was given."""
    return f"Given on {day}"


@sentence("offer.total", usd="$381.00")
def total(usd: str) -> str:
    """Say the sum."""
    return f"total {usd}"


@sentence("offer.limit", usd="$420.00")
def limit(usd: str) -> str:
    """Say above which sum we ask again."""
    return f"limit {usd}"


@sentence("offer.good_until", day="2026-03-09")
def good_until(day: str) -> str:
    """Say until when it holds."""
    return f"good until {day}"


@sentence("offer.promised", day="2026-03-04")
def promised(day: str) -> str:
    """Say when the truck is promised."""
    return f"truck promised for {day}"


@sentence("offer.revised", now="$501.00", was="$381.00", day="2026-03-02")
def revised(now: str, was: str, day: str) -> str:
    """Say that a sum was revised."""
    return f"Revised total: {now}. The version of {day} came to {was}."


@sentence("offer.replaces", day="2026-03-02")
def replaces(day: str) -> str:
    """Say that a version without a sum before it is replaced."""
    return f"This takes the place of the version of {day}."


@sentence("offer.earlier", day="2026-03-02", usd="$381.00")
def earlier(day: str, usd: str) -> str:
    """Name an earlier estimate that stands beside this one."""
    return f"Besides it stands the estimate of {day}: {usd}."


@sentence("offer.total_was_given")
def total_was_given() -> str:
    """Say that the lines do not add up to the total by themselves."""
    return "The total is the sum that was given; a price stands beside a line where it has one."


@sentence("offer.left_out", lines="new hose", count=1, where="it is not in the total")
def left_out(lines: str, count: int, where: str) -> str:
    """Name the lines without a price."""
    head = "1 line is" if count == 1 else f"{count} lines are"
    return f"{head} not priced yet, and {where}. Not priced: {lines}."


@sentence("offer.no_sum")
def no_sum() -> str:
    """Say that there is no sum."""
    return "there is no sum yet"


@sentence("offer.not_told")
def not_told() -> str:
    """Say that the total does not tell what the unpriced come to."""
    return "the total given does not say what that comes to"


@sentence("offer.not_in_total", count=1)
def not_in_total(count: int) -> str:
    """Say that the unpriced are not in the total."""
    return "it is not in the total" if count == 1 else "they are not in the total"


@sentence("offer.time_left_out", minutes="30")
def time_left_out(minutes: str) -> str:
    """Say that time is not in the prices."""
    return (
        f"{minutes} min of work stand beside prices that do not hold them: the shop has set no "
        "hourly rate."
    )


@sentence("offer.labour_rate", usd="$124.00")
def labour_rate(usd: str) -> str:
    """Say the rate that is in the prices."""
    return f"Labour is in the prices at {usd} an hour."


@sentence("offer.deposits", usd="$120.00")
def deposits(usd: str) -> str:
    """Say that deposits come back."""
    return f"Of it {usd} are deposits, credited when the old parts go back complete and in time."


@sentence("offer.no_repair")
def no_repair() -> str:
    """Say that nothing is open."""
    return "Nothing is open on this truck: there is no repair to price."


@sentence("offer.measure_first")
def measure_first() -> str:
    """Say that there is nothing to price yet."""
    return "There is no repair to price yet: the next step is to measure."


@sentence("offer.nothing_priced")
def nothing_priced() -> str:
    """Say that no line of a proposal has a price."""
    return "No line is priced, so there is no sum yet."


@sentence("offer.as_quoted")
def as_quoted() -> str:
    """Say what the estimate covers."""
    return "The work as it was quoted in the case."


@sentence("offer.may_remain")
def may_remain() -> str:
    """Say to the customer that the complaint may outlast the work."""
    return (
        "It may be that the complaint is still there after this work. "
        "Then we measure again, and ask before any further work."
    )


@sentence("offer.may_well_remain")
def may_well_remain() -> str:
    """Say the same where it is likely."""
    return (
        "It may well be that the complaint is still there after this work. "
        "Then we measure again, and ask before any further work."
    )


@sentence("offer.diagnosis_apart", terms="fee $225.00")
def diagnosis_apart(terms: str) -> str:
    """Say what the diagnosis costs."""
    return f"Diagnosis is priced apart: {terms}."


@sentence("offer.fee", usd="$225.00")
def fee(usd: str) -> str:
    """Name the fee of the diagnosis."""
    return f"fee {usd}"


@sentence("offer.not_more", usd="$600.00")
def not_more(usd: str) -> str:
    """Name the limit of the diagnosis."""
    return f"not more than {usd} without asking"


@sentence("offer.terms")
def terms() -> str:
    """Say what an estimate is."""
    return (
        "This is an estimate, not a fixed price. Nothing beyond the sum you approve is done "
        "without asking you again. Local law may give you further rights. A job you decline is "
        "not done, and that is written down."
    )


@sentence("offer.sign_approved")
def sign_approved() -> str:
    """Ask for the yes on paper."""
    return "Approved up to (amount), by, date, how (in person, phone, text)"


@sentence("offer.sign_declined")
def sign_declined() -> str:
    """Ask for the no on paper."""
    return "Declined lines and reason"


@sentence("offer.untranslated", words="Relief valve leaks at its seat")
def untranslated(words: str) -> str:
    """Name what the language file lacks."""
    return f"Not translated: {words}."


@sentence("estimate.like_with_like", low="$380", high="$720", wrote="$501.00", besides="")
def like_with_like(low: str, high: str, wrote: str, besides: str) -> str:
    """Compare the shop's own figure with what such lines usually come to, for the shop alone."""
    rest = f" Not compared: {besides}." if besides else ""
    return f"Lines like these came to {low} to {high}; you wrote {wrote}.{rest}"


@sentence("estimate.like_unpriced", low="$380", high="$720", lines="new hose")
def like_unpriced(low: str, high: str, lines: str) -> str:
    """Say that there is no figure of the shop to compare, for the shop alone."""
    return f"Lines like these came to {low} to {high}; yours are not all priced: {lines}."
