"""Files about brakes and where they were."""

from db.files.column import COUNT, NAME, NOT_KEPT, NUMBER, PAST_DAY, POSITIVE, TEXT, WORD, File, may, must
from db.records.brakes import ARRANGEMENTS, CONDITIONS, SHOP_WORK, STARTS
from lifecycle.observations import REMOVAL_REASONS

BRAKES = File(
    "brakes",
    (
        must("serial", NAME),
        must("brake_type", NAME),
        may("owner", TEXT),
        may("arrangement", WORD, ARRANGEMENTS),
        may("landings_since_new", COUNT),
        may("landings_since_overhaul", COUNT),
    ),
    key=("serial", "brake_type"),
)
INSTALLATIONS = File(
    "installations",
    (
        must("serial", NAME, field="brake"),
        may("brake_type", NAME, field=NOT_KEPT),
        must("registration", NAME, field="aircraft"),
        must("position", NAME),
        must("installed_on", PAST_DAY),
        may("removed_on", PAST_DAY),
        may("removal_reason", WORD, REMOVAL_REASONS),
        must("starts_as", WORD, STARTS),
        may("start_pin", NUMBER, field="start_pin_mm"),
        may("aircraft_landings_on", COUNT, field="aircraft_landings"),
        may("aircraft_landings_off", COUNT, field="landings_off"),
        may("release_reference", TEXT),
    ),
    key=("serial", "brake_type", "installed_on"),
    ends=("removed_on", "removal_reason", "aircraft_landings_off"),
    in_order=(("installed_on", "removed_on"),),
    tells_of=("installed_on",),
)
# Entered by itself; in a folder of files a removal stands in the row of its installation.
REMOVALS = File(
    "removals",
    (
        must("serial", NAME, field="brake"),
        may("brake_type", NAME, field=NOT_KEPT),
        must("removed_on", PAST_DAY),
        may("removal_reason", WORD, REMOVAL_REASONS),
        may("aircraft_landings_off", COUNT, field="aircraft_landings"),
    ),
    key=("serial", "brake_type", "removed_on"),
    tells_of=("removed_on",),
)
RESHIMS = File(
    "reshims",
    (
        must("serial", NAME, field="brake"),
        may("brake_type", NAME, field=NOT_KEPT),
        must("day", PAST_DAY),
        must("step_mm", POSITIVE),
        may("step_sd_mm", NUMBER),
    ),
    key=("serial", "brake_type", "day"),
    tells_of=("day",),
)
DEACTIVATIONS = File(
    "deactivations",
    (
        must("serial", NAME, field="brake"),
        may("brake_type", NAME, field=NOT_KEPT),
        must("from", PAST_DAY, field="from_on"),
        may("to", PAST_DAY, field="to_on"),
        may("reason", TEXT, field="why"),
    ),
    key=("serial", "brake_type", "from"),
    ends=("to",),
    in_order=(("from", "to"),),
    tells_of=("from",),
)
SHOP_VISITS = File(
    "shop_visits",
    (
        must("serial", NAME, field="brake"),
        may("brake_type", NAME, field=NOT_KEPT),
        must("sent_on", PAST_DAY),
        may("back_on", PAST_DAY),
        may("serial_back", NAME, field="brake_back"),
        may("brake_type_back", NAME, field=NOT_KEPT),
        must("work", WORD, SHOP_WORK),
        may("cost", NUMBER),
        may("currency", NAME),
    ),
    key=("serial", "brake_type", "sent_on"),
    ends=("back_on", "serial_back", "brake_type_back", "cost", "currency"),
    in_order=(("sent_on", "back_on"),),
    tells_of=("sent_on",),
)
STOCK_MOVEMENTS = File(
    "stock_movements",
    (
        must("serial", NAME, field="brake"),
        may("brake_type", NAME, field=NOT_KEPT),
        must("day", PAST_DAY),
        must("base", NAME),
        must("condition", WORD, CONDITIONS),
    ),
    key=("serial", "brake_type", "day"),
    tells_of=("day",),
)
