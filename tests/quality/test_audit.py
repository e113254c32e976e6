"""The yearly audit: the draw, both walks, what lacks, and that it was held."""

from __future__ import annotations

import dataclasses
import datetime
from decimal import Decimal
from typing import Any, NamedTuple

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from batches.models import Dispatch, FillingLot
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, RawLot, Stock, User
from producer.services.checks import said_moment
from quality import draws
from quality.draws import Draw
from quality.models import InstrumentCheck, SelfInspection
from quality.services import audit, checking, self_inspections, today
from quality.services.audit.counted import DREW
from tests import bottling, hands, make, told
from tests.database import without_triggers
from tests.once import once

pytestmark = pytest.mark.django_db


class Scene(NamedTuple):
    """A filling of which a shop has one bottle, and the potash in it."""

    crew: make.Crew
    lot: FillingLot
    potash: RawLot


@once
def scene_of(crew: make.Crew) -> Scene:
    """Two bottles, one with a shop."""
    lot = bottling.bottled(crew)
    hands.dispatched(crew, make.bottles_of(lot)[:1], make.consignee(crew.maker))
    potash = RawLot.objects.listed().get(material=make.potash(crew.maker))
    return Scene(crew, lot, potash)


@pytest.fixture
def scene(crew: make.Crew) -> Scene:
    return scene_of(crew)


def of(scene: Scene, lot: RawLot | None = None, bottle: int = 1) -> audit.Audit:
    """Return the audit whose draw hits this bottle and this lot."""
    drawn = audit.Drawn(
        draw=audit.draw_anew(),
        bottle=make.bottles_of(scene.lot)[bottle - 1],
        lot=lot or scene.potash,
    )
    return audit.audit_of(drawn)


# ------------------------------------------------------------------ the draw


def test_the_same_number_draws_the_same_and_what_came_since_does_not_move_it(
    scene: Scene,
) -> None:
    number = audit.draw_anew().number
    first = audit.drawn_by(number)
    make.filled(scene.crew, count=3, nominal_ul=100_000)
    make.held_lot(scene.crew, make.water(scene.crew.maker))
    again = audit.drawn_by(number)
    assert (again.bottle, again.lot) == (first.bottle, first.lot)
    assert audit.draw_anew().bottles == 5


def test_every_bottle_and_every_lot_can_be_drawn(scene: Scene) -> None:
    whole = audit.draw_anew()
    hit = [
        audit.drawn_by(dataclasses.replace(whole, seed=seed).number)
        for seed in range(80)
    ]
    assert {one.bottle for one in hit} == set(make.bottles_of(scene.lot))
    assert {one.lot for one in hit} == set(RawLot.objects.all())


def test_of_nothing_nothing_is_drawn(owner: User) -> None:
    drawn = audit.drawn_by("004071-0-0")
    assert (drawn.bottle, drawn.lot) == (None, None)
    found = audit.audit_of(drawn)
    assert (found.back, found.on, found.missing) == ([], [], [])


@pytest.mark.parametrize("number", ["", "4071", "004071-1", "abcdef-1-1", "٠٠٤٠٧١-0-0"])
def test_what_is_no_number_of_a_draw_is_refused(owner: User, number: str) -> None:
    with pytest.raises(Refusal, match="no number of a draw"):
        audit.drawn_by(number)


def test_a_number_of_more_than_there_is_was_not_drawn_here(scene: Scene) -> None:
    whole = audit.draw_anew()
    for more in (
        dataclasses.replace(whole, bottles=whole.bottles + 1),
        dataclasses.replace(whole, lots=whole.lots + 1),
    ):
        with pytest.raises(Refusal, match="never were so many"):
            audit.drawn_by(more.number)


def test_the_draw_is_even_enough() -> None:
    hits = [0] * 7
    for seed in range(7_000):
        index = Draw(seed=seed, bottles=7, lots=0).bottle
        assert index is not None
        hits[index] += 1
    # Chi-square with 6 degrees of freedom: above 22.5 in one of a thousand (from
    # memory); the seeds are fixed, so it is the same on every run.
    assert sum((hit - 1_000) ** 2 / 1_000 for hit in hits) < 22.5


def test_a_fresh_draw_is_read_again_by_its_number(scene: Scene) -> None:
    draw = audit.draw_anew()
    assert draws.read(draw.number) == draw


# ------------------------------------------------------------------ the walks


def test_the_bottle_is_walked_back_to_its_filling_batches_and_lots(
    scene: Scene,
) -> None:
    back = of(scene).back
    names = [link.name for link in back]
    assert [link.what for link in back[:2]] == ["Bottle", "Filling lot"]
    assert scene.lot.code in names
    assert scene.lot.batch.number in names
    assert scene.potash.code in names
    assert names.index(scene.lot.batch.number) < names.index(scene.potash.code)


def test_what_is_in_order_is_said_and_nothing_of_it_lacks(scene: Scene) -> None:
    filling = of(scene).back[1]
    said = " ".join(filling.present)
    assert "Bottles released by" in said
    assert "are accounted for" in said
    assert "1 sample kept" in said
    assert filling.missing == []


def test_a_filling_without_label_sample_and_release_lacks_them(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew, count=1)
    (bottle,) = make.bottles_of(lot)
    drawn = audit.Drawn(draw=audit.draw_anew(), bottle=bottle, lot=None)
    missing = " ".join(audit.audit_of(drawn).missing)
    assert "no label is on record for it" in missing
    assert f"{lot.code}: no release of its bottles" in missing
    assert f"{lot.code}: No label was printed yet" in missing
    assert f"{lot.code}: no bottle was weighed against its label" in missing
    assert f"{lot.code}: no sample of it is kept" in missing


def test_a_sample_that_is_gone_is_not_counted_as_kept_but_lacks(scene: Scene) -> None:
    bottling.looked_at(scene.crew, scene.lot, state="gone", found="not on its shelf")
    filling = of(scene).back[1]
    assert "kept." not in " ".join(filling.present)
    assert filling.missing == [
        f"{scene.lot.code}: 1 of 1 sample kept of it is not there any more."
    ]


def test_a_bottle_that_is_out_says_by_which_dispatch_and_who_sent_it(
    scene: Scene,
) -> None:
    dispatch = Dispatch.objects.get()
    (said,) = [one for one in of(scene).back[0].present if "Dispatch " in one]
    assert dispatch.code in said
    assert f"sent by {scene.crew.maker.person.name}." in said
    here = of(scene, bottle=2).back[0].present
    assert not any("Dispatch " in one for one in here)


def released_again(scene: Scene, days: int) -> None:
    """Move the decisions about the potash so many days into the future."""
    with without_triggers():
        scene.potash.status_changes.update(
            observed_at=timezone.now() + datetime.timedelta(days=days)
        )


def test_a_lot_that_was_used_before_its_release_lacks_it(scene: Scene) -> None:
    used = f"{scene.potash.code}: it was weighed into"
    assert used not in " ".join(of(scene).missing)
    released_again(scene, days=1)
    (said,) = [one for one in of(scene).missing if used in one]
    assert said.endswith("when it was held.")


def test_a_lot_that_was_used_while_on_hold_is_told_of(scene: Scene) -> None:
    potash = scene.potash
    with without_triggers():
        potash.status_changes.update(new=RawLot.Status.ON_HOLD)
        earlier = potash.status_changes.get()
        earlier.pk, earlier.old, earlier.new = None, "on_hold", "released"
        earlier.observed_at = timezone.now() + datetime.timedelta(days=1)
        earlier.save(force_insert=True)
    (said,) = [one for one in of(scene).missing if "it was weighed into" in one]
    assert said.startswith(potash.code)
    assert said.endswith("when it was on hold.")


def test_a_lot_that_needs_no_certificate_is_said_to_have_none(scene: Scene) -> None:
    water = RawLot.objects.listed().get(material=make.water(scene.crew.maker))
    (link,) = [one for one in of(scene).back if one.name == water.code]
    assert any(one.startswith("No certificate is on record") for one in link.present)
    assert "certificate" not in " ".join(link.missing)


def test_everybody_who_weighed_something_in_is_asked_for_a_training(
    scene: Scene,
) -> None:
    crew, batch = scene.crew, scene.lot.batch
    helper = crew.reviewer.person.name
    said = f"a training of {helper}, who weighed into it, was not on record"
    assert said not in " ".join(of(scene).missing)
    with without_triggers():
        last = batch.charges.order_by("pk").last()
        assert last is not None
        batch.charges.filter(pk=last.pk).update(entered_by=crew.reviewer)
    missing = " ".join(of(scene).missing)
    assert said in missing
    assert "a training of the maker was not on record" in missing


def test_a_failed_check_is_not_there_as_if_it_were_good(scene: Scene) -> None:
    crew, batch = scene.crew, scene.lot.batch
    scale = batch.charges.order_by("pk")[0].scale
    check = checking.record_check(
        by=crew.maker,
        instrument=scale,
        held=checking.Known(
            against="500 g", reference=Decimal(500), shown=Decimal(500)
        ),
        tolerance=Decimal(2),
    )
    with without_triggers():
        InstrumentCheck.objects.filter(pk=check.pk).update(
            observed_at=timezone.now() - datetime.timedelta(days=300)
        )
    (link,) = [one for one in of(scene).back if one.name == batch.number]
    assert any("checked on" in one for one in link.present)
    with without_triggers():
        InstrumentCheck.objects.filter(pk=check.pk).update(passed=False)
    (link,) = [one for one in of(scene).back if one.name == batch.number]
    assert not any("checked on" in one for one in link.present)
    assert any(f"{scale.name} had failed its check on" in one for one in link.missing)


def test_a_potash_without_its_paper_lacks_it_and_one_with_figures_alone_the_paper(
    scene: Scene,
) -> None:
    crew, potash = scene.crew, scene.potash
    bare = make.held_lot(crew, make.potash(crew.maker), supplier_lot="K-9")
    assert f"{bare.code}: no certificate is on record." in of(scene, bare).missing
    said = f"{potash.code}: the figures of the certificate are kept, the paper is not."
    assert said not in of(scene).missing
    with without_triggers():  # as the services never leave it
        potash.certificates.update(attachment=None)
    assert said in of(scene).missing


def test_instruments_that_were_not_checked_and_a_maker_without_training_are_told(
    scene: Scene,
) -> None:
    missing = " ".join(of(scene).missing)
    assert "and not checked before" in missing
    assert "a training of the maker was not on record" in missing


def test_the_lot_is_walked_on_to_every_batch_bottle_and_holder(scene: Scene) -> None:
    found = of(scene)
    assert found.forwards is not None
    names = [link.name for link in found.on]
    assert names[0] == scene.potash.code
    assert scene.lot.batch.number in names
    assert scene.lot.code in names
    assert found.forwards.affected.bottle_count == 2
    assert {one.place for one in found.forwards.affected.holders} == {
        "Corner Shop Lindqvist",
        "on the premises",
    }
    own = found.forwards.own
    assert own.code == scene.potash.code
    assert own.came_in == own.into_batches + own.in_stock
    assert own.missing == 0


def test_a_milligram_that_is_gone_is_told_of(scene: Scene) -> None:
    with without_triggers():
        less = F("on_hand_mg") - 1
        Stock.objects.filter(pk=scene.potash.pk).update(on_hand_mg=less)
    found = of(scene, RawLot.objects.listed().get(pk=scene.potash.pk))
    assert found.forwards is not None
    assert found.forwards.own.missing == 1
    assert [line for line in found.missing if line.startswith(scene.potash.code)][
        -1
    ].endswith("Run “verify”.")


def test_what_lacks_names_no_consignee_since_it_is_kept(scene: Scene) -> None:
    found = of(scene)
    assert "Lindqvist" in str(found.back[0].present)
    assert "Lindqvist" not in str(found.missing)


def test_the_queries_do_not_grow_with_the_bottles(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    batch = make.released_liquid(crew, paste=paste)
    lot = make.filled(crew, batch, count=2, nominal_ul=20_000)

    def queries() -> int:
        drawn = audit.Drawn(
            draw=audit.draw_anew(),
            bottle=make.bottles_of(lot)[0],
            lot=RawLot.objects.listed().get(material=make.potash(crew.maker)),
        )
        with CaptureQueriesContext(connection) as asked:
            audit.audit_of(drawn)
        return len(asked)

    few = queries()
    other = make.filled(crew, make.fresh(batch), count=30, nominal_ul=20_000)
    assert other.count == 30
    # One more filling lot is one more link; its bottles ask for nothing more.
    assert queries() - few < 20


# ------------------------------------------------------------------ the lists


def test_the_lists_say_none_and_count_what_there_is(scene: Scene) -> None:
    told.opened(scene.crew)
    listed = {one.heading: one for one in audit.listed(timezone.localdate())}
    assert listed["Open complaints"].count == 1
    assert listed["Open recalls"].count == 0
    (access,) = [one for name, one in listed.items() if name.startswith("People")]
    assert access.count == User.objects.filter(is_active=True).count()
    assert any("mirja.aalto" in line for line in access.lines)


def test_every_list_of_the_first_page_is_one_that_the_first_page_has() -> None:
    # A slug that nothing has would always say “none”.
    import inspect  # noqa: PLC0415

    source = "".join(
        inspect.getsource(module)
        for module in (
            today.urgent,
            today.told,
            today.bottles,
            today.filled,
            today.store,
            today.tools,
        )
    )
    for slug, _ in audit.lists.OF_TODAY:
        assert f'"{slug}"' in source, slug


# ------------------------------------------------------------------ how often drawn


def held(crew: make.Crew, number: str) -> SelfInspection:
    return self_inspections.record_inspection(
        by=crew.reviewer, number=number, findings="x"
    )


def test_a_draw_is_on_record_with_of_how_many_it_was(scene: Scene, owner: User) -> None:
    draw = self_inspections.draw_audit(by=owner)
    entry = JournalEntry.objects.latest("sequence")
    assert (entry.act, entry.actor) == ("audit drawn", owner)
    assert entry.subject_label == f"audit {draw.number}"
    lots = RawLot.objects.count()
    assert entry.after_values == {
        "number": draw.number,
        "bottles": 2,
        "raw_lots": lots,
    }
    assert draw.number.endswith(f"-2-{lots}")


def test_an_audit_says_how_many_draws_were_made_since_the_one_before(
    scene: Scene,
) -> None:
    crew = scene.crew
    first = told.inspected(crew.reviewer)
    assert audit.draws_for(first).words.startswith(
        "This was draw 1 of 1; no audit was held before it. Drawn on "
    )
    numbers = [told.drawn(crew.reviewer) for _ in range(3)]
    second = held(crew, numbers[1])
    at = JournalEntry.objects.get(subject_label=f"audit {numbers[1]}", act=DREW).at
    words = (
        "This was draw 2 of 3 since the audit held before it. Drawn on"
        f" {said_moment(at)}."
    )
    assert audit.draws_for(second).words == words
    told.drawn(crew.reviewer)  # for the next one
    assert audit.draws_for(second).words == words
    new = self_inspections.amend_inspection(
        by=crew.reviewer, row=second, findings="papers lack", reason="left out"
    )
    assert audit.draws_for(new).words == words
    assert audit.draws_until_now().count == 1


def test_an_audit_that_is_taken_back_hides_no_draw(scene: Scene) -> None:
    crew = scene.crew
    numbers = [told.drawn(crew.reviewer) for _ in range(2)]
    row = held(crew, numbers[1])
    new = self_inspections.amend_inspection(
        by=crew.reviewer, row=row, findings="y", reason="left out"
    )
    self_inspections.amend_inspection(
        by=crew.reviewer, row=new, reason="too many lacked", void=True
    )
    third = told.inspected(crew.reviewer)
    assert audit.draws_for(third).words.startswith(
        "This was draw 3 of 3; no audit was held before it."
    )


def test_an_audit_was_not_held_before_it_was_drawn(scene: Scene) -> None:
    number = told.drawn(scene.crew.reviewer)
    at = audit.draws_until_now(number).at
    assert at is not None
    minute = at.replace(second=0, microsecond=0)  # as it is typed

    def hold(observed_at: datetime.datetime) -> SelfInspection:
        return self_inspections.record_inspection(
            by=scene.crew.reviewer, number=number, findings="x", observed_at=observed_at
        )

    with pytest.raises(Refusal, match=r"It was drawn on .* cannot be before") as error:
        hold(minute - datetime.timedelta(minutes=1))
    assert error.value.field == "observed_at"
    assert hold(minute).observed_at == minute


def test_the_day_on_which_it_is_said_to_have_been_held_hides_no_draw(
    scene: Scene,
) -> None:
    crew = scene.crew
    tomorrow = timezone.now() + datetime.timedelta(hours=20)
    first = told.inspected(crew.reviewer, observed_at=tomorrow)
    told.drawn(crew.reviewer)
    second = told.inspected(crew.reviewer)
    assert first.observed_at > second.observed_at
    assert audit.draws_for(second).place == 2
    assert audit.draws_for(first).place == 1


def test_no_audit_is_held_that_was_not_drawn_since_the_last_one(scene: Scene) -> None:
    crew = scene.crew
    chosen = audit.draw_anew().number  # seen by nobody, and on no record
    with pytest.raises(Refusal, match=r"was not drawn since .* Draw first"):
        held(crew, chosen)
    number = told.drawn(crew.reviewer)
    row = held(crew, number)
    with pytest.raises(Refusal, match="Draw first"):
        held(crew, number)
    # What was recorded by mistake and taken back is recorded again.
    self_inspections.amend_inspection(
        by=crew.reviewer, row=row, reason="it was not held yet", void=True
    )
    assert audit.draws_for(held(crew, number)).place == 1


def test_an_audit_from_before_draws_were_on_record_says_so(scene: Scene) -> None:
    row = told.inspected(scene.crew.reviewer)
    with without_triggers():
        JournalEntry.objects.filter(act="audit drawn").delete()
    assert audit.draws_for(row).words == "No draw was on record yet."
    told.drawn(scene.crew.reviewer)
    assert audit.draws_for(row).words == "No draw was on record yet."
    assert audit.draws_until_now("004071-1-1").words == (
        "No draw of this number is on record since the audit held before it."
    )


# ------------------------------------------------------------------ that it was held


def test_an_audit_that_was_held_keeps_its_draw_and_what_was_missing(
    scene: Scene,
) -> None:
    row = told.inspected(scene.crew.reviewer, "the papers lack")
    again = audit.audit_of(audit.drawn_by(row.number))
    assert (row.bottle, row.lot) == (again.drawn.bottle, again.drawn.lot)
    assert row.missing == again.missing
    assert JournalEntry.objects.latest("sequence").subject_label == (
        f"audit {row.number}"
    )


def test_an_owner_or_a_reviewer_holds_one_and_nobody_else(
    scene: Scene, owner: User, auditor: User
) -> None:
    crew = scene.crew
    for user in (crew.maker, auditor):
        with pytest.raises(PermissionDenied):
            told.inspected(user)
    assert told.inspected(owner).entered_by == owner
    assert told.inspected(crew.reviewer).entered_by == crew.reviewer


def test_an_audit_without_findings_or_of_a_wrong_number_is_refused(
    scene: Scene,
) -> None:
    crew = scene.crew
    with pytest.raises(ValidationError, match="cannot be blank"):
        told.inspected(crew.reviewer, " ")
    with pytest.raises(Refusal, match="never were so many"):
        self_inspections.record_inspection(
            by=crew.reviewer, number="004071-99-5", findings="x"
        )
    assert not SelfInspection.objects.exists()


@pytest.mark.parametrize(
    ("number", "lacks"),
    [
        ("000000-0-0", "no bottle and no raw lot"),
        ("000000-0-1", "no bottle:"),
        ("000000-1-0", "no raw lot:"),
    ],
)
def test_no_audit_is_held_of_nothing_though_something_is_there_by_now(
    scene: Scene, number: str, lacks: str
) -> None:
    with pytest.raises(Refusal, match=lacks):
        self_inspections.record_inspection(
            by=scene.crew.reviewer, number=number, findings="all well"
        )
    assert not SelfInspection.objects.exists()


def test_findings_are_corrected_by_a_new_row_and_taken_back(scene: Scene) -> None:
    crew = scene.crew
    row = told.inspected(crew.reviewer)
    facts: dict[str, Any] = {"by": crew.reviewer, "row": row, "findings": "papers lack"}
    with pytest.raises(Refusal, match="Say why"):
        self_inspections.amend_inspection(**facts, reason="")
    new = self_inspections.amend_inspection(**facts, reason="left out")
    with pytest.raises(Conflict):
        self_inspections.amend_inspection(**facts, reason="left out")
    assert [one.pk for one in audit.inspections()] == [new.pk]
    assert (new.number, new.missing) == (row.number, row.missing)
    self_inspections.amend_inspection(
        by=crew.reviewer, row=new, reason="it was a rehearsal", void=True
    )
    assert list(audit.inspections()) == []
    assert audit.last_held() is None


def test_audits_are_listed_by_year(scene: Scene) -> None:
    crew = scene.crew
    last_year = timezone.now() - datetime.timedelta(days=366)
    earlier = told.inspected(crew.reviewer)
    with without_triggers():
        SelfInspection.objects.filter(pk=earlier.pk).update(observed_at=last_year)
    told.inspected(crew.reviewer)
    years = [year for year, _ in audit.years()]
    assert years == sorted(
        {timezone.localtime(at).year for at in (last_year, timezone.now())},
        reverse=True,
    )


def yearly() -> list[str]:
    """Return what the first page says is due once a year."""
    kinds = today.due(timezone.localdate())
    return [row.name for kind in kinds if kind.slug == "yearly" for row in kind.rows]


def test_an_audit_is_due_a_year_after_the_first_filling_or_the_last_audit(
    scene: Scene,
) -> None:
    name = "Audit of your own"
    assert name not in yearly()
    with without_triggers():
        FillingLot.objects.update(
            observed_at=timezone.now() - datetime.timedelta(days=366)
        )
    assert name in yearly()
    row = told.inspected(scene.crew.reviewer)
    assert name not in yearly()
    with without_triggers():
        SelfInspection.objects.filter(pk=row.pk).update(
            observed_at=timezone.now() - datetime.timedelta(days=366)
        )
    assert name in yearly()


def test_verify_finds_another_bottle_than_the_number_draws(scene: Scene) -> None:
    row = told.inspected(scene.crew.reviewer)
    assert list(self_inspections.faults()) == []
    other = next(one for one in make.bottles_of(scene.lot) if one != row.bottle)
    with without_triggers():
        SelfInspection.objects.filter(pk=row.pk).update(bottle=other)
    (fault,) = self_inspections.faults()
    assert "another bottle or lot" in fault
    with without_triggers():
        SelfInspection.objects.filter(pk=row.pk).update(number="004071-99-99")
    (fault,) = self_inspections.faults()
    assert "never were so many" in fault
