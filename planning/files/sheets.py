"""
The sheets of the workbook, in the order they are read: the one description of them. Pure.

Reading, writing, the sample, the page, the command and REST all use this table. Names of columns
are those of the API, units included; a test compares each with the form that takes it.
"""

from __future__ import annotations

from planning.files.columns import (
    IN_USE,
    Column,
    Sheet,
    choice,
    coded,
    day,
    link,
    number,
    text,
    whole,
    yes,
)
from planning.files.sheets_of_work import ORDERS, ROUTES, STEPS, STOCK, TOOLS

SHEET_X = "data sheet X of 2026-01 (invented)"
SOURCED = (
    "hardener_per_100", "mixed_density_kg_l", "pot_life_min", "gel_time_min", "deepest_lift_mm",
    "gap_least_min", "gap_greatest_min", "demould_min", "activation_kj_mol", "service_c", "cap_c",
    "post_cure", "kinetics",
)  # fmt: skip
"""Values of a resin system that must say where they stand; a test compares them with its own."""
WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
HOURS = "07:00-12:00, 12:30-15:30"
SITE = (
    Sheet(
        "Shop", "The shop itself: one row.", "sites", (),
        (
            text("name", "It stands on sheets and labels.", "Own Tools"),
            number("expected_c", "Usual shop temperature, °C.", "20"),
            text("legal_name", "As it stands on orders; empty: the name."),
            text("address", "Where bills go."),
            text("delivery_address", "Where goods go; empty: the address."),
            text("contact", "Whom suppliers ask: name, telephone, e-mail."),
            text("tax_number", "As it stands on orders."),
        ),
    ),
    Sheet(
        "Closed days", "Holidays and shutdowns: nobody works.", "closed-days", ("day",),
        (
            day("day", "The day.", 40, needed=True),
            text("reason", "Why.", "Works holiday"),
        ),
    ),
    Sheet(
        "People", "Who works in the shop, with skills and weekly hours.", "people", ("code",),
        (
            *coded("ivo", "Ivo"),
            Column("skills", "words", "Such as mixing, coating, demoulding, fitting.",
                   example=["mixing", "coating", "demoulding", "fitting"]),
            *(Column(one, "hours", "Hours at work.", example=HOURS if n < 5 else None)
              for n, one in enumerate(WEEK)),
            IN_USE,
        ),
        ({"code": "olga", "name": "Olga"},),
    ),
    Sheet(
        "Absences", "Single days that differ from the weekly hours.", "day-changes",
        ("person", "day", "starts", "ends", "extra"),
        (
            link("person", "People", "Who.", "olga", needed=True),
            day("day", "The day.", 12, needed=True),
            Column("starts", "clock", "From when; empty: the whole day off."),
            Column("ends", "clock", "Until when."),
            yes("extra", "yes: these hours are worked beside the usual ones."),
            text("reason", "Why.", "Training"),
        ),
    ),
    Sheet(
        "Mixers", "What resin is mixed with, each with its vessel.", "mixers", ("code",),
        (
            *coded("D1", "Drill and bucket"),
            number("largest_kg", "What it and its vessel mix at once, kg.", "15", needed=True),
            number("least_kg", "Below this it does not mix well, kg. Empty: 0.", "0.5"),
            IN_USE,
        ),
    ),
    Sheet(
        "Scales", "What is weighed with.", "scales", ("code",),
        (
            *coded("S1", "Bench scale"),
            number("capacity_kg", "Carries at most, kg.", "30", needed=True),
            number("readability_g", "Smallest step shown, g.", "1", needed=True),
            day("next_check_on", "When it is to be checked next."),
            IN_USE,
        ),
    ),
    Sheet(
        "Places", "Benches, ovens and floor where tools stand and cure.", "places", ("code",),
        (
            *coded("B1", "Bench 1"),
            choice("kind", "Empty: bench.", "bench oven floor", "bench"),
            whole("capacity", "Tools at once. Empty: 1.", 2),
            IN_USE,
        ),
        ({"code": "OV1", "name": "Oven", "kind": "oven"},),
    ),
    Sheet(
        "Shelves", "Where containers are kept.", "locations", ("code",),
        (
            *coded("SH1", "Shelf 1"),
            number("lowest_c", "Kept at least at, °C."),
            number("highest_c", "Kept at most at, °C."),
            IN_USE,
        ),
    ),
    Sheet(
        "Temperatures", "Days on which the shop will be warmer or colder than usual.",
        "expected-temperatures", ("day",),
        (
            day("day", "The day.", 5, needed=True),
            number("shop_c", "Shop temperature, °C, 0 to 45.", "19", needed=True),
        ),
    ),
)  # fmt: skip
BOUGHT = (
    Sheet(
        "Suppliers", "Who sells what.", "suppliers", ("code",),
        (
            *coded("SUP1", "Invented Resins"),
            text("order_email", "Where orders are sent.", "orders@resins.example"),
            text("address", "Postal address."),
            text("contact", "Whom to ask: name, telephone."),
            text("our_account", "Our customer number there."),
            text("terms", "Of payment and delivery."),
            whole("least_life_days", "Least shelf life left on arrival, days."),
            whole("lead_time_days", "Delivers in so many days. Empty: 7.", 7),
            number("lead_time_sd_days", "Standard deviation of that, days."),
            number("order_cost", "What placing one order costs."),
            number("least_order", "Least value of one order."),
            text("currency", "Three letters of ISO 4217. Empty: EUR.", "EUR"),
            Column("closed_weekdays", "weekdays", "Days without dispatch.", example=[6, 7]),
        ),
    ),
    Sheet(
        "Supplier closures", "Holidays and shutdowns of suppliers.", "supplier-closures",
        ("supplier", "first_day", "last_day"),
        (
            link("supplier", "Suppliers", "Who.", "SUP1", needed=True),
            day("first_day", "First day closed.", 30, needed=True),
            day("last_day", "Last day closed.", 33, needed=True),
            text("reason", "Why."),
        ),
    ),
    Sheet(
        "Materials", "All that is bought and used up.", "materials", ("code",),
        (
            *coded("RX", "Resin X"),
            choice("kind", "What it is.", "resin hardener filler accelerator pigment "
                   "release_agent sealer barrier adhesive consumable", "resin", needed=True),
            choice("unit", "What it is counted in. Empty: kg.", "kg L m m2 pc", "kg"),
            Column("hazard_statements", "words", "Codes in section 2 of the safety data sheet, "
                   "such as H315, H317.", example=["H315", "H317"]),
            choice("signal_word", "Of the safety data sheet.", "Danger Warning", "Warning"),
            text("safety_data_sheet", "Where the sheet is kept."),
            whole("shelf_life_months", "Shelf life unopened, months.", 12),
            whole("open_life_days", "Life once opened, days; empty: not stated.", 90),
            number("storage_low_c", "Store at least at, °C.", "15"),
            number("storage_high_c", "Store at most at, °C.", "25"),
            number("density_kg_l", "Density, kg/L.", "1.75"),
            yes("check_on_receipt", "yes: each delivery is checked before use."),
            yes("stir_before_use", "yes: filler settles.", True),
            whole("stir_hours", "Stirred again after so many hours."),
            number("warm_hours", "Hours out of the store before use."),
            number("use_per_m2", "For one coat on 1 m², in the unit of the material."),
            text("source", "Where these values stand.", SHEET_X),
        ),
        (
            {"code": "HX", "name": "Hardener X", "kind": "hardener", "density_kg_l": "1.02",
             "hazard_statements": ["H314", "H317"], "signal_word": "Danger",
             "stir_before_use": None},
            {"code": "WAX", "name": "Paste wax", "kind": "release_agent", "density_kg_l": None,
             "hazard_statements": ["H226"], "stir_before_use": None, "use_per_m2": "0.02"},
        ),
    ),
    Sheet(
        "Packs", "In which packs suppliers sell, and for how much.", "packs",
        ("material", "supplier", "name", "from_packs"),
        (
            link("material", "Materials", "What.", "RX", needed=True),
            link("supplier", "Suppliers", "From whom.", "SUP1", needed=True),
            text("name", "As the supplier calls it.", "25 kg pail", needed=True),
            number("content", "In the unit of the material.", "25", needed=True),
            number("price", "Of one pack, in the supplier's currency.", "210"),
            whole("from_packs", "The price holds from so many packs. Empty: 1."),
            whole("least_packs", "Fewest packs of one order. Empty: 1."),
            whole("lead_time_days", "If another than the supplier's."),
            text("gtin", "Number under the barcode."),
            text("supplier_item", "The supplier's number of it."),
        ),
    ),
    Sheet(
        "Resin systems", "Resin and hardener with the values of the data sheet.",
        "resin-systems", ("code",),
        (
            *coded("X", "System X"),
            link("resin", "Materials", "The resin.", "RX", needed=True),
            link("hardener", "Materials", "The hardener.", "HX", needed=True),
            number("hardener_per_100", "Parts by mass to 100 of resin.", "10", needed=True),
            number("ratio_tolerance_percent", "Ratio may be off by, %. Empty: 2."),
            number("mixed_density_kg_l", "Density of the mix, kg/L.", "1.7", needed=True),
            number("pot_life_min", "Pot life, min.", "60", needed=True),
            number("pot_life_mass_kg", "Measured on, kg. Empty: 0.1.", "0.5"),
            number("reference_c", "Temperature of these times, °C. Empty: 25.", "23"),
            number("gel_time_min", "Gel time, min."),
            number("deepest_lift_mm", "Deepest lift, mm.", "60", needed=True),
            number("gap_least_min", "Next lift at the earliest after, min."),
            number("gap_greatest_min", "Next lift at the latest after, min."),
            number("demould_min", "Demould after, min.", "1440", needed=True),
            number("activation_kj_mol", "Activation energy, kJ/mol, if measured."),
            number("service_c", "Service temperature, °C."),
            number("cap_c", "A casting may reach at most, °C."),
            Column("post_cure", "rows", "Ramp in K/h, temperature in °C, time in min.",
                   members=(("ramp_k_h", "number"), ("hold_c", "number"),
                            ("hold_min", "number"))),
            number("vessel_kg", "Largest batch, kg."),
            number("least_batch_kg", "Least batch, kg."),
            whole("most_tools_per_batch", "Tools poured from one batch at most. Empty: 4."),
            number("residue_fixed_kg", "Left in each pot, kg. Empty: 0.03."),
            number("residue_share", "Left in each pot, share of its mass. Empty: 0.01."),
            number("pour_rate_kg_min", "Poured in one minute, kg. Empty: 2."),
            whole("weigh_min", "Minutes to weigh. Empty: 8."),
            whole("mix_min", "Minutes to mix. Empty: 6."),
            whole("clean_min", "Minutes to clean up. Empty: 6."),
            whole("move_min", "Minutes from one tool to the next. Empty: 2."),
            whole("abrade_min", "Minutes to abrade a lift. Empty: 25."),
            Column("kinetics", "json", "Constants of the cure, only from who fitted them."),
            text("source", "Where these values stand: data sheet with date and page.", SHEET_X,
                 needed=True),
            Column("other_sources", "rows", "Values that stand elsewhere.",
                   members=(("value", "text"), ("source", "text"))),
            yes("confirmed", "yes: the data sheet really says so, however unusual a value is."),
        ),
    ),
    Sheet(
        "Components", "Filler, accelerator or pigment of a system.", "system-components",
        ("system", "name"),
        (
            link("system", "Resin systems", "Of which system.", needed=True),
            text("name", "As people call it at the scale, in small letters.", needed=True),
            link("material", "Materials", "What it is.", needed=True),
            number("per_100", "Parts by mass to 100 of resin.", needed=True),
            number("tolerance_percent", "May be off by, %. Empty: 2."),
            whole("order", "Weighed after the resin, as number."),
            text("source", "Where these values stand.", needed=True),
        ),
    ),
    Sheet(
        "Release recipes", "How often a release agent goes on, and how long it dries.",
        "release-recipes", ("code",),
        (
            *coded("W2", "Two coats of wax"),
            link("material", "Materials", "The release agent.", "WAX", needed=True),
            choice("surface", "Of the tool's face; empty: any.", "epoxy metal painted porous"),
            link("sealer", "Materials", "Goes on a bare surface before the first coat."),
            whole("sealer_dry_min", "Drying of the sealer, min. Empty: 0."),
            whole("coats", "How many on a bare surface.", 2, needed=True),
            whole("recoat_coats", "How many at a re-coat. Empty: 1."),
            number("hands_min_per_m2", "Work on 1 m² and coat, min.", "10", needed=True),
            whole("least_hands_min", "Work on a coat at least, min. Empty: 5."),
            whole("haze_min", "Hazes for so many minutes, then buffed; empty: not buffed."),
            whole("dry_min", "Drying after each coat, min.", 15, needed=True),
            whole("last_dry_min", "Drying after the last coat, min.", 30, needed=True),
            whole("longest_to_pour_min", "Pour at the latest after the last coat, min."),
            whole("shots_per_coat", "Shots between two re-coats."),
            whole("days_per_coat", "Days between two re-coats."),
            whole("strip_after", "Re-coats after which built-up wax comes off."),
            text("source", "Where these values stand.", SHEET_X, needed=True),
        ),
    ),
    Sheet(
        "Release clashes", "Agents and sealers that must not meet on one surface.",
        "release-clashes", ("first", "second"),
        (
            link("first", "Materials", "One of them.", needed=True),
            link("second", "Materials", "The other.", needed=True),
            text("reason", "Why.", needed=True),
            text("source", "Where that stands.", needed=True),
        ),
    ),
)  # fmt: skip
SHEETS: tuple[Sheet, ...] = (*SITE, *BOUGHT, ROUTES, STEPS, STOCK, *TOOLS, ORDERS)
BY_NAME = {sheet.name: sheet for sheet in SHEETS}
COLUMNS_SHEET = "Columns"
"""The sheet that tells of all the others; it is passed over when a workbook is read."""
