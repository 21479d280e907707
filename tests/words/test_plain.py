"""Long sentences are cut where they pause; what fits is left as it is."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from witnessmark.words.plain import LONGEST, ended, sentences, short_sentences
from witnessmark.words.say.paper import next_step, not_run


def test_a_short_text_is_left_as_it_is():
    text = "The seal (cut) leaked; a new one is in. Nothing else: really."
    assert short_sentences(text) == text


def test_a_long_one_is_cut_at_semicolons_and_begins_anew():
    text = (
        "the coolant would have to jump from 41 to 95 degC at once and back; the largest credible "
        "is about 3 degC/s; an added 100 ohm in the circuit would do it."
    )
    assert sentences(short_sentences(text)) == [
        "The coolant would have to jump from 41 to 95 degC at once and back.",
        "The largest credible is about 3 degC/s.",
        "An added 100 ohm in the circuit would do it.",
    ]


def test_what_is_still_too_long_loses_its_remarks_then_is_cut_at_a_colon_or_comma():
    names = ", ".join(f"the worn part number {n} of the list (some remark on it)" for n in range(8))
    said = sentences(short_sentences(f"It came on suddenly: more like {names}."))
    assert said[0] == "It came on suddenly."
    assert all(len(s.split()) <= LONGEST for s in said)
    assert all(f"number {n}" in " ".join(said) for n in range(8))
    assert "remark" not in " ".join(said)


def test_a_clause_that_says_nothing_by_itself_stays_with_its_sentence():
    """Before: "When the coolant temperature drops. The oil pressure rises and ..."."""
    moved = " and ".join(f"the temperature of sensor {n} drops" for n in range(4))
    told = sentences(
        short_sentences(f"When the coolant drops, {moved}, and it comes back at once.")
    )
    assert told[0].startswith("When the coolant drops, the temperature of sensor 0 drops")


@given(st.lists(st.sampled_from(["one", "two;", "three:", "four,", "five.", "Six"]), max_size=80))
def test_no_word_is_lost_but_in_brackets(words):
    def kept(text: str) -> list[str]:
        return [w.strip(".,;:").lower() for w in text.split() if w.strip(".,;:")]

    assert kept(short_sentences(" ".join(words))) == kept(" ".join(words))


def test_a_long_choice_is_cut_before_an_or():
    said = "drums even across the axle after the stops or the parking brake holds in low gear"
    told = short_sentences(
        f"A second look: {said} or it stops straight from walking pace and from twenty."
    )
    assert all(len(s.split()) <= LONGEST for s in sentences(told))
    assert "Or it stops straight" in told


def test_a_sentence_ends_with_one_mark_also_where_a_name_ends_with_a_question() -> None:
    asked = next_step("Cold system pressed: does it hold?", 15.0, "$0")
    assert "hold? That takes" in asked
    assert "x. Y." in not_run("x.", "y.")
    assert [ended(t) for t in ("does it hold?", "two..", "one", "said “no”")] == [
        "does it hold?", "two.", "one.", "said “no”",
    ]  # fmt: skip
