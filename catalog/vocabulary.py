"""The closed lists of words that rules know by name.

A word outside its list would not be refused later: a rule would simply never see it (a
tannage misspelled would pass the chromium check), so the loader refuses it.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

GRADES: Final = ("fine", "sign_off", "refuse")
SIDES: Final = ("grain", "flesh")
SEVERITIES: Final = ("refuse", "sign_off", "advise", "notice")
TANNAGES: Final = ("vegetable", "chrome", "combination", "alum", "aldehyde", "oil")
EDGE_FINISHES: Final = ("burnish", "stain", "paint", "turned", "raw")
MARKS: Final = ("foil", "blind", "ink", "laser")
STITCHES: Final = ("hand", "machine", "whip")
LOT_FORMS: Final = ("hide", "side", "back", "butt", "shoulder", "skin", "shell", "strap", "remnant")
LOT_GRADES: Final = ("A", "B", "C")
STAMP_UNITS: Final = ("sqft_quarters", "sqft_tenths", "sqft_decimal", "dm2")
POCKET_USES: Final = ("card", "box", "passport", "blade", "note_flat", "note_half", "note_thirds", "notebook", "tool")
ZONE_SIDES: Final = ("shown", "back")
DIRECTIONS: Final = ("long", "any")
LOAD_CLASSES: Final = ("none", "light", "bearing")
FIXINGS: Final = ("closure", "clip", "buckle", "hook", "ring", "rivet")
SIZES: Final = ("lug_mm", "taper_mm", "width_mm", "length_mm", "waist_to_hole_mm")
CARRY_GROUPS: Final = ("card", "passport", "business_card", "note")
# Groups that a workshop need not have.
MORE_CARRY_GROUPS: Final = ("notebook", "tool")
# Finishes that lie on the grain as a film, and whether a test of how they stand folding is on file.
COATINGS: Final = ("patent", "foil", "print")
FLEX_REPORTS: Final = ("none", "on_file")
# What metal looks like, whatever it is.
TONES: Final = ("gold", "silver", "copper", "black")
LEATHER_STATES: Final = ("active", "last_lot", "retired")
PATTERN_STATES: Final = ("active", "retired")
SUPPLY_STATES: Final = ("active", "out")
THREAD_SUPPLIES: Final = ("ongoing", "last_spool", "discontinued")
REPORTS: Final = ("on_file", "missing")
SACHETS: Final = ("none", "tested", "untested")
STAMP_PLACES: Final = ("clear", "fold", "seam", "hole")
#: Written where a lot's thickness is the mill's word alone.
NEVER: Final = "never"
WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

# The lines that a price may have beside the surcharges of the price list.
PRICE_LINES: Final = ("base", "part", "rush", "quantity_break", "round_up")

# The part that customers see; prices, colors and edges go by it.
OUTSIDE: Final = "outside"

# The limits that rules call by name, with the unit of each value.
THRESHOLDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "card_ease_soft_mm": "mm",
        "card_ease_stiff_mm": "mm",
        "card_turned_from_width_mm": "mm",
        "hidden_slot_cards": "count",
        "note_ease_mm": "mm",
        "passport_ease_mm": "mm",
        "business_card_proud_mm": "mm",
        "box_height_ease_mm": "mm",
        "blade_width_ease_mm": "mm",
        "blade_length_ease_mm": "mm",
        "notebook_ease_mm": "mm",
        "tool_margin_mm": "mm",
        "worn_back_long_mm": "mm",
        "worn_back_short_mm": "mm",
        "worn_front_long_mm": "mm",
        "worn_front_short_mm": "mm",
        "worn_inside_long_mm": "mm",
        "worn_inside_short_mm": "mm",
        "inch_from_mm": "mm",
        "inch_below_mm": "mm",
        "inch_long_below_mm": "mm",
        "note_layers_flat": "count",
        "note_layers_half": "count",
        "note_layers_thirds": "count",
        "belt_buckle_turn_mm": "mm",
        "belt_tail_mm": "mm",
        "belt_cut_min_mm": "mm",
        "belt_cut_max_mm": "mm",
        "cut_allowance_length_mm": "mm",
        "cut_allowance_width_mm": "mm",
        "cut_allowance_lug_mm": "mm",
        "nest_gap_mm": "mm",
        "thickness_over_tolerance_mm": "mm",
        "lot_range_mm": "mm",
        "warn_share_of_limit": "ratio",
        "method_limit_hand_fine_mm": "mm",
        "method_limit_hand_awl_mm": "mm",
        "method_limit_machine_mm": "mm",
        "method_limit_whip_mm": "mm",
        "awl_from_pitch_mm": "mm",
        "burnish_edge_min_mm": "mm",
        "paint_edge_min_mm": "mm",
        "paint_edge_max_mm": "mm",
        "closed_refuse_factor": "ratio",
        "fold_refuse_factor": "ratio",
        "fold_mark_strain": "ratio",
        "stretch_strap_percent": "percent",
        "stretch_pocket_percent": "percent",
        "edge_share_refuse": "ratio",
        "edge_left_min_ml": "ml",
        "paint_ml_per_500_mm": "ml",
        "stain_ml_per_500_mm": "ml",
        "burnish_ml_per_500_mm": "ml",
        "turned_skive_mm": "mm",
        "stain_lighter_l": "lightness",
        "match_color_de00": "de00",
        "repeat_advise_de00": "de00",
        "repeat_sign_off_de00": "de00",
        "contrast_color_de00": "de00",
        "shed_rub_rating": "count",
        "pale_thread_l": "lightness",
        "pale_neighbor_l": "lightness",
        "stitch_ratio_min": "ratio",
        "stitch_ratio_max": "ratio",
        "stitch_ratio_refuse": "ratio",
        "thread_waste_m": "m",
        "stitch_loop_factor": "ratio",
        "zone_margin_width_mm": "mm",
        "zone_margin_height_mm": "mm",
        "letters_sign_off_over": "count",
        "letters_refuse_over": "count",
        "foil_m_per_monogram": "m",
        "blind_panel_min_mm": "mm",
        "dog_kg_base": "kg",
        "grade_factor": "ratio",
        "two_lots_de00": "de00",
        "small_part_mm": "mm",
        "margin_floor_percent": "percent",
        "neighbor_layers_mm": "mm",
        "stretchy_percent": "percent",
        "thickness_age_days": "days",
        "humidity_percent": "percent",
        "count_age_days": "days",
        "paint_open_days": "days",
        "wallet_weight_g": "g",
        "leather_kg_per_dm3": "ratio",
        "stitch_edge_min_mm": "mm",
        "stitch_edge_per_stack": "ratio",
        "stitch_edge_beside_mm": "mm",
        "card_embossed_mm": "mm",
        "magnet_flux_index": "kG2mm2",
    }
)

# Species that need no second look; others may be written, unless spelled almost like one here.
SPECIES: Final = (
    "cattle", "calf", "horse", "goat", "sheep", "pig", "deer", "elk", "moose", "reindeer", "bison", "buffalo",
    "kangaroo", "ostrich", "camel", "yak", "crocodile", "alligator", "caiman", "lizard", "python", "snake",
    "shark", "stingray", "salmon", "eel",
)  # fmt: skip
