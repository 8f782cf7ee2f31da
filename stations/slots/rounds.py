"""A round: every slot that waits at a site, keyed in and read back in one form, a tick a slot."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.http import QueryDict
from django.utils.functional import cached_property

from stations.equipment.models import Site, Slot
from stations.machine_types.catalogue import Printed, word_of
from stations.slots.forms import ReadBackForm
from stations.slots.holdings import Holding, holdings
from stations.slots.models import ReadBack
from stations.slots.read_backs import Reading, Reported
from stations.slots.verdicts import same
from web.newest import newest_of_each


@dataclass(frozen=True, slots=True)
class Line:
    """One setting to key in: what it should be, whether the machine is known to show it already,
    and what it shows instead where that was read."""

    setting: Printed
    new: bool
    was: str


class Stop:
    """One slot of the round: what it should hold beside what was last found, and its form."""

    def __init__(self, holding: Holding, last: ReadBack | None, data: QueryDict | None) -> None:
        self.holding = holding
        self.slot: Slot = holding.slot
        self._last = last
        self._data = data

    @cached_property
    def form(self) -> ReadBackForm:
        """The form of this slot, under a prefix of its own; bound if anything was sent for it."""
        placement, prefix = self.holding.placement, f"slot{self.slot.pk}"
        return ReadBackForm(
            placement.settings.values if placement else {},
            self._data if self.sent_for else None,
            prefix=prefix,
            initial={"seen_placement": placement.pk if placement else None},
        )

    @property
    def sent_for(self) -> bool:
        """Whether anything was ticked or typed for it."""
        sent = self._data.items() if self._data is not None else ()
        named = f"slot{self.slot.pk}-"
        seen = f"{named}seen_placement"
        return any(k.startswith(named) and k != seen and str(v).strip() for k, v in sent)

    @property
    def lines(self) -> list[Line]:
        """What is to be keyed in, what changes marked. Nothing is known of a slot never read."""
        found: Mapping[str, str] = self._last.found if self._last else {}
        return [
            Line(
                row,
                not same(row.code, self._should(row.code), found.get(row.code)),
                word_of(row.code, found.get(row.code, "")),
            )
            for row in self.holding.settings
        ]

    def _should(self, code: str) -> str:
        placement = self.holding.placement
        return str(placement.settings.values[code]["value"]) if placement else ""


class Round:
    """The slots of a site that wait, or all of them, and what was sent of them."""

    def __init__(self, site: Site, data: QueryDict | None, *, everything: bool) -> None:
        waiting = Slot.objects.filter(station__machine__site=site).waiting(everything=True)
        whole = holdings(waiting)
        last = _last_found([each.slot.pk for each in whole])
        stops = [Stop(each, last.get(each.slot.pk), data) for each in whole]
        # What was sent of one that was settled meanwhile counts as well: nothing is passed over.
        self.stops = [
            each for each in stops if everything or not each.holding.settled or each.sent_for
        ]

    def readable(self) -> Iterator[Stop]:
        """Those that can be read back: something is in force, and it is as signed."""
        yield from (
            each for each in self.stops if each.holding.placement and not each.holding.problem
        )

    @cached_property
    def looked_at(self) -> list[Stop]:
        """Those somebody ticked or typed something for. Empty before anything is sent."""
        return [each for each in self.readable() if each.form.is_bound]

    @property
    def faulty(self) -> bool:
        """Whether something typed can't be read: nothing is written then."""
        return any(each.form.errors for each in self.looked_at)

    def readings(self) -> list[Reading]:
        """What was found, slot by slot. Only where nothing is faulty."""
        return [
            Reading(
                each.slot.pk,
                each.form.cleaned_data["seen_placement"],
                each.form.found(),
                each.form.unread(),
            )
            for each in self.looked_at
        ]


def _last_found(slots: Sequence[int]) -> dict[int, ReadBack]:
    among = Slot.objects.filter(pk__in=slots)
    rows = newest_of_each(ReadBack.objects.all(), "slot", among)
    return {row.slot_id: row for row in rows}


def outcome(reported: Sequence[Reported]) -> str:
    """What became of a round, in one sentence."""
    counts = {
        "match": sum(r.verdict == "matches" for r in reported),
        "differ": sum(r.verdict == "differs" for r in reported),
        "read in part": sum(r.verdict == "unread" for r in reported),
        "not taken, as something else came into force meanwhile": sum(
            bool(r.stale) for r in reported
        ),
    }
    told = [f"{count} {words}" for words, count in counts.items() if count]
    return f"Read back: {', '.join(told)}."
