"""Installations and shop visits of every brake in time order, cut into heat sink runs."""

import datetime as dt
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.days import FAR, BoolArray, IntArray, day_number, day_numbers, keys, latest
from lifecycle.landings import codes_of
from lifecycle.observations import Records

FRESH: Final = ("new", "overhauled", "refurbished")
RENEWING_WORK: Final = {"overhaul": "overhauled", "refurbish": "refurbished"}
ENDING_WORK: Final = (*RENEWING_WORK, "scrap")


@dataclass(frozen=True)
class Stays:
    """
    Where each brake was: its installations, and its returns from the shop with a renewed heat sink.

    Attributes
    ----------
    brake, aircraft : arrays of int64, shape (s,)
        Positions in ``records.brakes`` and ``records.aircraft``; aircraft -1 in the shop or the store.
    row : array of int64, shape (s,)
        Row of ``records.installations``, -1 in the shop or the store.
    begun, ended : arrays of int64, shape (s,)
        Day numbers; FAR while it lasts, -FAR where a brake was never installed.
    word : array of str, shape (s,)
        ``starts_as``, for a return from the shop what the work made of it.
    run : array of int64, shape (s,)
        Heat sink run, 0, 1, ... over all brakes in order.
    first, last : arrays of int64, shape (r,)
        First and last stay of each run.
    overlapping : array of int64
        Brakes with a shop visit while installed, which is left out.
    """

    brake: IntArray
    aircraft: IntArray
    row: IntArray
    begun: IntArray
    ended: IntArray
    word: npt.NDArray[np.object_]
    run: IntArray
    first: IntArray
    last: IntArray
    overlapping: IntArray

    def key(self) -> IntArray:
        """Ascending keys of (brake, day begun)."""
        return keys(self.brake, self.begun)

    def real(self) -> IntArray:
        """For each run its first installation, or its first stay where it has none."""
        follows = np.minimum(self.first + 1, self.last)
        return np.where((self.row[self.first] < 0) & (self.row[follows] >= 0), follows, self.first)


class _Visits(NamedTuple):
    """Shop visits that renew a heat sink, by the brake that carries it afterwards."""

    brake: IntArray
    sent: IntArray
    back: IntArray
    word: npt.NDArray[np.object_]


def lay_out(records: Records, on: dt.date) -> Stays:
    """
    Put installations and shop visits into time order and cut them into runs.

    Parameters
    ----------
    records : Records
        Needs brakes, aircraft, installations and shop_visits.
    on : date
        What begins later is left out; what ends later has not ended.

    Returns
    -------
    Stays
        Ordered by brake, then day.

    Raises
    ------
    BadRecordsError
        If a brake or an aircraft is not in the records.

    Notes
    -----
    A run starts with an installation as new, overhauled or refurbished, with the first installation of a
    brake, or with a return from an overhaul or refurbishment. An installation right after such a return belongs
    to the run that the return started, whatever its word.
    """
    today = day_number(on)
    begun_by = day_numbers(records.installations["installed_on"]) <= today
    fitted = records.installations[begun_by]
    ended = day_numbers(fitted["removed_on"])
    brake_ids = pd.Index(records.brakes["brake"])
    stays = pd.DataFrame(
        {
            "brake": codes_of(brake_ids, fitted["brake"], "brake in installations"),
            "aircraft": codes_of(
                pd.Index(records.aircraft["aircraft"]), fitted["aircraft"], "aircraft in installations"
            ),
            "row": np.flatnonzero(begun_by),
            "begun": day_numbers(fitted["installed_on"]),
            "ended": np.where(ended > today, FAR, ended),
            "word": fitted["starts_as"].to_numpy(dtype=object),
        }
    )
    stays = stays.sort_values(["brake", "begun"], kind="stable")
    returns, overlapping = _returns(stays, _renewing_visits(records, today), today)
    stays = pd.concat([returns, stays, _stored(stays, returns, len(brake_ids))], ignore_index=True)
    # A return stands before an installation of the same day: the sort is stable and row is -1 for a return.
    stays = stays.sort_values(["brake", "begun", "row"], kind="stable")
    return _cut(stays, overlapping)


def _renewing_visits(records: Records, today: int) -> _Visits:
    visits = records.shop_visits[records.shop_visits["work"].isin(list(RENEWING_WORK))]
    visits = visits[day_numbers(visits["sent_on"]) <= today]
    brake_ids = pd.Index(records.brakes["brake"])
    own = codes_of(brake_ids, visits["brake"], "brake in shop_visits")
    sent, back = day_numbers(visits["sent_on"]), day_numbers(visits["back_on"])
    word = visits["work"].map(RENEWING_WORK).to_numpy(dtype=object)
    came = visits["brake_back"].to_numpy(dtype=float)
    swapped = ~np.isnan(came) & (came != visits["brake"].to_numpy())
    other = codes_of(brake_ids, visits["brake_back"][swapped].astype("int64"), "brake that came back")
    # Of an exchange the brake sent does not come back on that day; the other one does, renewed.
    return _Visits(
        brake=np.concatenate([own, other]),
        sent=np.concatenate([sent, np.where(back[swapped] < FAR, back[swapped], sent[swapped])]),
        back=np.concatenate([np.where(swapped, FAR, back), back[swapped]]),
        word=np.concatenate([word, word[swapped]]),
    )


def _returns(stays: pd.DataFrame, visits: _Visits, today: int) -> tuple[pd.DataFrame, IntArray]:
    """Stays of no length where a renewed brake came back: on its day, at the latest when installed again."""
    begun = keys(stays["brake"].to_numpy(), stays["begun"].to_numpy())
    after = np.searchsorted(begun, keys(visits.brake, visits.sent), side="left")
    again = np.append(stays["begun"].to_numpy(), FAR)[after]
    same = np.append(stays["brake"].to_numpy(), -1)[after] == visits.brake
    day = np.minimum(visits.back, np.where(same, again, FAR))
    before = latest(begun, visits.brake, day - 1)
    installed = (before >= 0) & (np.append(stays["ended"].to_numpy(), FAR)[before] > day)
    keep = (day <= today) & ~installed
    returns = pd.DataFrame(
        {
            "brake": visits.brake[keep],
            "aircraft": np.int64(-1),
            "row": np.int64(-1),
            "begun": day[keep],
            "ended": day[keep],
            "word": visits.word[keep],
        }
    )
    return returns, np.unique(visits.brake[installed & (day <= today)])


def _stored(stays: pd.DataFrame, returns: pd.DataFrame, brakes: int) -> pd.DataFrame:
    """Brakes on record that were never installed."""
    seen = np.concatenate([stays["brake"].to_numpy(), returns["brake"].to_numpy()])
    brake = np.setdiff1d(np.arange(brakes), seen)
    return pd.DataFrame(
        {
            "brake": brake,
            "aircraft": np.int64(-1),
            "row": np.int64(-1),
            "begun": np.int64(-FAR),
            "ended": np.int64(-FAR),
            "word": np.full(len(brake), "", dtype=object),
        }
    )


def _cut(stays: pd.DataFrame, overlapping: IntArray) -> Stays:
    brake, row = stays["brake"].to_numpy(), stays["row"].to_numpy()
    word = stays["word"].to_numpy(dtype=object)
    first_of_brake = np.append(True, brake[1:] != brake[:-1])[: len(brake)]
    returned = row < 0
    after_return = np.append(False, returned[:-1])[: len(brake)]
    fresh = returned | pd.Series(word).isin(FRESH).to_numpy()
    starts: BoolArray = first_of_brake | (fresh & ~after_return)
    first = np.flatnonzero(starts)
    return Stays(
        brake=brake,
        aircraft=stays["aircraft"].to_numpy(),
        row=row,
        begun=stays["begun"].to_numpy(),
        ended=stays["ended"].to_numpy(),
        word=word,
        run=np.cumsum(starts) - 1,
        first=first,
        last=np.append(first[1:], len(brake))[: len(first)] - 1,
        overlapping=overlapping,
    )


@dataclass(frozen=True)
class Endings:
    """When and why each run ended: FAR and "" while it lasts."""

    day: IntArray
    reason: npt.NDArray[np.object_]


def endings(records: Records, stays: Stays, on: dt.date) -> Endings:
    """
    End of every run.

    Parameters
    ----------
    records : Records
        Needs installations and shop_visits.
    stays : Stays
        From `lay_out`.
    on : date
        Later shop visits are left out.

    Returns
    -------
    Endings
        One entry a run. A run has ended when its brake came off worn, was sent for overhaul, refurbishment,
        scrap or in exchange, or began its next run; a brake off for another reason may go on in its run.
    """
    last = stays.last
    reasons = np.append(records.installations["removal_reason"].to_numpy(dtype=object), "")
    removed_for = np.where(stays.ended[last] < FAR, reasons[stays.row[last]], "")
    renewed = np.append(stays.brake[stays.first[1:]], -1)[: len(last)] == stays.brake[last]
    next_begun = np.where(renewed, np.append(stays.begun[stays.first[1:]], FAR)[: len(last)], FAR)
    work = _ending_work(records, stays, next_begun, day_number(on))
    is_off = stays.ended[last] < FAR
    over = renewed | (is_off & ((removed_for == "worn") | (work != "")))
    reason = np.where(removed_for != "", removed_for, np.where(work != "", work, "not recorded"))
    day = np.where(is_off, stays.ended[last], next_begun)
    return Endings(day=np.where(over, day, FAR), reason=np.where(over, reason, ""))


def _ending_work(records: Records, stays: Stays, next_begun: IntArray, today: int) -> npt.NDArray[np.object_]:
    """Shop work that ended each run: the first such visit between its last stay and the next run, or ""."""
    visits = records.shop_visits
    gone = visits["brake_back"].notna() & (visits["brake_back"] != visits["brake"])
    ending = visits["work"].isin(ENDING_WORK) | gone
    visits = visits[ending & (day_numbers(visits["sent_on"]) <= today)]
    brake = codes_of(pd.Index(records.brakes["brake"]), visits["brake"], "brake in shop_visits")
    key = keys(brake, day_numbers(visits["sent_on"]))
    order = np.argsort(key, kind="stable")
    last = stays.last
    # A return from the shop has not ended by the visit that it came back from, even if that took one day.
    since = stays.ended[last] + (stays.row[last] < 0)
    at = np.searchsorted(key[order], keys(stays.brake[last], since), side="left")
    found = np.append(key[order], np.iinfo(np.int64).max)[at] <= keys(stays.brake[last], next_begun)
    return np.where(found, np.append(visits["work"].to_numpy(dtype=object)[order], "")[at], "")
