"""Who may do what where: every address × every role × every method, as data."""

from __future__ import annotations

from typing import Any

import pytest
from django.http import HttpResponseBase, StreamingHttpResponse
from django.test import Client
from django.urls import reverse

from producer.services import people
from tests.database import row_counts
from tests.doors import world as worlds
from tests.doors.recall_acts import OF_RECALLS
from tests.doors.world import ROLES, World

# Rights are no matter of the engine; test_every_act reads every page on both.
pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]
pytestmark += [pytest.mark.usefixtures("standing_world", "papers_are_blank")]

IN = "to the sign-in"  # what a visitor is told everywhere but at the public pages
SET_UP, TODAY = "producer:set_up", "quality:today"

Answer = int | str
Answers = tuple[Answer, ...]

#                    visitor owner maker reviewer auditor, as in ROLES
EVERYBODY: Answers = (200, 200, 200, 200, 200)
ACCOUNTS: Answers = (IN, 200, 200, 200, 200)
OWNER: Answers = (IN, 200, 403, 403, 403)
MAKER: Answers = (IN, 403, 200, 403, 403)
REVIEWER: Answers = (IN, 403, 403, 200, 403)
OFFICE: Answers = (IN, 200, 403, 200, 200)
MAKER_OR_REVIEWER: Answers = (IN, 403, 200, 200, 403)
OWNER_OR_REVIEWER: Answers = (IN, 200, 403, 200, 403)
NOT_THIS_WAY: Answers = (IN, 405, 405, 405, 405)
NOT_THIS_WAY_AT_ALL: Answers = (405, 405, 405, 405, 405)
GONE: Answers = (IN, IN, IN, IN, IN)  # there is an owner already
SIGNED_IN_ALREADY: Answers = (200, "/", "/", "/", "/")
LEAVES: Answers = (IN, IN, IN, IN, IN)

# What GET and a POST that says nothing answer. A POST that is taken but not understood
# shows its form again (200).
TABLE: dict[str, tuple[Answers, Answers]] = {
    "producer:set_up": (GONE, GONE),
    "producer:sign_in": (SIGNED_IN_ALREADY, SIGNED_IN_ALREADY),
    "producer:sign_out": (NOT_THIS_WAY, LEAVES),
    "producer:password": (ACCOUNTS, ACCOUNTS),
    "producer:kept": (ACCOUNTS, NOT_THIS_WAY),
    "producer:registers": (ACCOUNTS, NOT_THIS_WAY),
    "producer:register": (ACCOUNTS, NOT_THIS_WAY),
    "producer:register_new": (MAKER, MAKER),
    "producer:register_entry": (MAKER, MAKER),
    "producer:premises": (OWNER, OWNER),
    "producer:people": (ACCOUNTS, NOT_THIS_WAY),
    "producer:account_new": (OWNER, OWNER),
    "producer:account": (ACCOUNTS, NOT_THIS_WAY),
    "producer:account_rights": (OWNER, OWNER),
    "producer:account_close": (OWNER, OWNER),
    "producer:account_password": (OWNER, OWNER),
    "producer:journal": (ACCOUNTS, NOT_THIS_WAY),
    "producer:act": (ACCOUNTS, NOT_THIS_WAY),
    "producer:journal_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "producer:journal_csv": (ACCOUNTS, NOT_THIS_WAY),
    "producer:lots": (ACCOUNTS, NOT_THIS_WAY),
    "producer:lot_receive": (MAKER, MAKER),
    "producer:lot": (ACCOUNTS, NOT_THIS_WAY),
    "quality:lot_certificate": (MAKER, MAKER),
    "quality:lot_decide": (REVIEWER, REVIEWER),
    "producer:lot_count": (MAKER, MAKER),
    "producer:lot_dispose": (MAKER, MAKER),
    "producer:containers": (MAKER, MAKER),
    "producer:container_change": (MAKER, MAKER),
    "producer:stock_takes": (ACCOUNTS, NOT_THIS_WAY),
    "producer:stock_take": (ACCOUNTS, NOT_THIS_WAY),
    "producer:stock_take_new": (MAKER, MAKER),
    "producer:stock_list_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "batches:store": (ACCOUNTS, NOT_THIS_WAY),
    "producer:lot_price": (MAKER, MAKER),
    "producer:safety": (ACCOUNTS, NOT_THIS_WAY),
    "producer:safety_new": (MAKER, MAKER),
    "producer:safety_amend": (MAKER, MAKER),
    "producer:safety_void": (MAKER, MAKER),
    "producer:rules": (ACCOUNTS, NOT_THIS_WAY),
    "producer:rules_new": (MAKER, MAKER),
    "producer:rules_amend": (MAKER, MAKER),
    "producer:rules_void": (MAKER, MAKER),
    "producer:attachment": (ACCOUNTS, NOT_THIS_WAY),
    "batches:formulas": (ACCOUNTS, NOT_THIS_WAY),
    "batches:formula_new": (MAKER, MAKER),
    "batches:formula": (ACCOUNTS, NOT_THIS_WAY),
    "batches:formula_version": (MAKER, MAKER),
    "batches:classify": (MAKER, MAKER),
    "batches:item_numbers": (ACCOUNTS, NOT_THIS_WAY),
    "batches:item_number_give": (MAKER, MAKER),
    "batches:item_number_amend": (MAKER, MAKER),
    "batches:item_number_void": (MAKER, MAKER),
    "batches:label_texts": (ACCOUNTS, NOT_THIS_WAY),
    "batches:label_text": (ACCOUNTS, NOT_THIS_WAY),
    "batches:label_proof": (ACCOUNTS, NOT_THIS_WAY),
    "batches:label_proof_picture": (ACCOUNTS, NOT_THIS_WAY),
    "batches:label_text_write": (MAKER, MAKER),
    "batches:label_text_approve": (REVIEWER, REVIEWER),
    "batches:label_text_withdraw": (REVIEWER, REVIEWER),
    "batches:batches": (ACCOUNTS, NOT_THIS_WAY),
    "batches:batch_open": (MAKER, MAKER),
    "batches:batch": (ACCOUNTS, NOT_THIS_WAY),
    "batches:lots": (MAKER, MAKER),
    "batches:paper": (MAKER, MAKER),
    "batches:paper_sheet": (ACCOUNTS, NOT_THIS_WAY),
    "batches:discount": (MAKER, MAKER),
    "batches:charge": (MAKER, MAKER),
    "batches:charge_begin": (MAKER, MAKER),
    "batches:start_finish": (MAKER, MAKER),
    "batches:start_void": (MAKER, MAKER),
    "batches:undo": (MAKER, MAKER),
    "batches:charge_amend": (MAKER, MAKER),
    "batches:charge_void": (MAKER, MAKER),
    "batches:read": (MAKER, MAKER),
    "batches:reading_amend": (MAKER, MAKER),
    "batches:discrepancy": (ACCOUNTS, NOT_THIS_WAY),
    "batches:discrepancy_explain": (REVIEWER, REVIEWER),
    "batches:weigh": (MAKER, MAKER),
    "batches:weigh_amend": (MAKER, MAKER),
    "batches:correct": (MAKER, MAKER),
    "batches:loss": (MAKER, MAKER),
    "batches:portion_add": (MAKER, MAKER),
    "batches:portion_amend": (MAKER, MAKER),
    "batches:portion_void": (MAKER, MAKER),
    "batches:liquid_read": (MAKER, MAKER),
    "batches:liquid_amend": (MAKER, MAKER),
    "batches:liquid_void": (MAKER, MAKER),
    "batches:loss_amend": (MAKER, MAKER),
    "batches:loss_void": (MAKER, MAKER),
    "batches:costs": (ACCOUNTS, NOT_THIS_WAY),
    "batches:cost_add": (MAKER, MAKER),
    "batches:cost_amend": (MAKER, MAKER),
    "batches:cost_void": (MAKER, MAKER),
    "batches:pot": (MAKER, NOT_THIS_WAY),
    "batches:finish": (MAKER, MAKER),
    "batches:abandon": (MAKER, MAKER),
    "batches:fill": (MAKER, MAKER),
    "batches:titrate": (MAKER, MAKER),
    "batches:titration_void": (MAKER, MAKER),
    "batches:container": (MAKER, MAKER),
    "batches:container_amend": (MAKER, MAKER),
    "batches:container_void": (MAKER, MAKER),
    "batches:history": (ACCOUNTS, NOT_THIS_WAY),
    "batches:bottles": (ACCOUNTS, NOT_THIS_WAY),
    "batches:places": (ACCOUNTS, NOT_THIS_WAY),
    "batches:place_put": (MAKER, MAKER),
    "quality:consignee_erase": (MAKER, MAKER),
    "quality:bottle_doubt_report": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:bottle_doubt_settle": (REVIEWER, REVIEWER),
    "batches:ph": (ACCOUNTS, NOT_THIS_WAY),
    "batches:filling_lot": (ACCOUNTS, NOT_THIS_WAY),
    "batches:label_issue": (ACCOUNTS, NOT_THIS_WAY),
    "batches:label_issue_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "batches:label_count": (MAKER, MAKER),
    "batches:label_count_amend": (MAKER, MAKER),
    "batches:label_count_void": (MAKER, MAKER),
    "batches:label_formats": (ACCOUNTS, NOT_THIS_WAY),
    "batches:label_format_new": (MAKER, MAKER),
    "batches:label_format": (MAKER, MAKER),
    "quality:labels": (MAKER, MAKER),
    "batches:sample": (MAKER, MAKER),
    "batches:sample_look": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "batches:sample_look_amend": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "batches:sample_look_void": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:bottle_move": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "batches:dispatches": (ACCOUNTS, NOT_THIS_WAY),
    "quality:dispatch_new": (MAKER, MAKER),
    "batches:dispatch": (ACCOUNTS, NOT_THIS_WAY),
    "quality:dispatch_take_back": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:dispatch_note": (ACCOUNTS, NOT_THIS_WAY),
    "quality:dispatch_csv": (ACCOUNTS, NOT_THIS_WAY),
    "quality:bottles_move": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:bottle_look": (ACCOUNTS, NOT_THIS_WAY),
    "quality:today": (ACCOUNTS, NOT_THIS_WAY),
    "quality:find": (ACCOUNTS, NOT_THIS_WAY),
    "quality:methods": (ACCOUNTS, NOT_THIS_WAY),
    "quality:bottle": (EVERYBODY, NOT_THIS_WAY_AT_ALL),
    "quality:bottle_scanned": (EVERYBODY, NOT_THIS_WAY_AT_ALL),
    "quality:bottle_typed": (EVERYBODY, NOT_THIS_WAY_AT_ALL),
    "quality:scan_alerts": (ACCOUNTS, NOT_THIS_WAY),
    "quality:scan_alert": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:limits": (ACCOUNTS, NOT_THIS_WAY),
    "quality:limit_set": (REVIEWER, REVIEWER),
    "quality:material_limits": (ACCOUNTS, NOT_THIS_WAY),
    "quality:material_limit_set": (REVIEWER, REVIEWER),
    "quality:review": (ACCOUNTS, NOT_THIS_WAY),
    "quality:batch_sheet": (ACCOUNTS, NOT_THIS_WAY),
    "quality:blank_sheet": (ACCOUNTS, NOT_THIS_WAY),
    "quality:hold_points": (MAKER, MAKER),
    "quality:dossier": (ACCOUNTS, NOT_THIS_WAY),
    "quality:export": (OFFICE, NOT_THIS_WAY),
    "quality:events": (ACCOUNTS, NOT_THIS_WAY),
    "quality:events_of": (ACCOUNTS, NOT_THIS_WAY),
    "quality:sign": (REVIEWER, REVIEWER),
    "quality:doses": (ACCOUNTS, NOT_THIS_WAY),
    "quality:fill_check": (MAKER, MAKER),
    "quality:fill_check_take_back": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:fill_free": (REVIEWER, REVIEWER),
    "quality:fill_release": (REVIEWER, REVIEWER),
    "quality:change_charge": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:void_charge": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:change_reading": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:void_reading": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:change_weighing": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:change_loss": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:void_loss": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:void_titration": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:revision": (ACCOUNTS, NOT_THIS_WAY),
    "quality:alkali": (ACCOUNTS, NOT_THIS_WAY),
    "quality:correction": (ACCOUNTS, NOT_THIS_WAY),
    "quality:flow": (ACCOUNTS, NOT_THIS_WAY),
    "quality:flow_pdf": (ACCOUNTS, NOT_THIS_WAY),
    **dict.fromkeys(OF_RECALLS, (ACCOUNTS, NOT_THIS_WAY)),
    "quality:recall_open": (REVIEWER, REVIEWER),
    "quality:recall_open_by": (REVIEWER, REVIEWER),
    "quality:deviations": (ACCOUNTS, NOT_THIS_WAY),
    "quality:deviation": (ACCOUNTS, NOT_THIS_WAY),
    "quality:deviation_open": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:deviation_open_instrument": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:deviation_step": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:deviation_close": (REVIEWER, REVIEWER),
    "quality:complaints": (ACCOUNTS, NOT_THIS_WAY),
    "quality:complaint": (ACCOUNTS, NOT_THIS_WAY),
    "quality:complaint_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "quality:complaint_open": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:complaint_amend": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:complaint_step": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:complaint_step_amend": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:complaint_step_void": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:complaint_close": (REVIEWER, REVIEWER),
    "quality:complaint_reopen": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:audit": (OFFICE, NOT_THIS_WAY),
    "quality:audit_draw": (OWNER_OR_REVIEWER, OWNER_OR_REVIEWER),
    "quality:audit_drawn": (OFFICE, NOT_THIS_WAY),
    "quality:audit_pdf": (OFFICE, NOT_THIS_WAY),
    "quality:audit_held": (OWNER_OR_REVIEWER, OWNER_OR_REVIEWER),
    "quality:inspection": (OFFICE, NOT_THIS_WAY),
    "quality:inspection_amend": (OWNER_OR_REVIEWER, OWNER_OR_REVIEWER),
    "quality:inspection_void": (OWNER_OR_REVIEWER, OWNER_OR_REVIEWER),
    "quality:recall_look_again": (REVIEWER, REVIEWER),
    "quality:recall_hazard_new": (REVIEWER, REVIEWER),
    "quality:recall_all_clear": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:recall_advance": (REVIEWER, REVIEWER),
    "quality:recall_close": (REVIEWER, REVIEWER),
    "quality:recall_contact_new": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:recall_contact_amend": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:recall_contact_void": (MAKER_OR_REVIEWER, MAKER_OR_REVIEWER),
    "quality:sprays": (ACCOUNTS, NOT_THIS_WAY),
    "quality:sprays_csv": (ACCOUNTS, NOT_THIS_WAY),
    "quality:sprays_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "quality:mix_new": (MAKER, MAKER),
    "quality:mix": (ACCOUNTS, NOT_THIS_WAY),
    "quality:mix_amend": (MAKER, MAKER),
    "quality:mix_void": (MAKER, MAKER),
    "quality:mix_leftovers": (MAKER, MAKER),
    "quality:patch_test_new": (MAKER, MAKER),
    "quality:patch_test_look": (MAKER, MAKER),
    "quality:patch_test_void": (MAKER, MAKER),
    "quality:charts": (ACCOUNTS, NOT_THIS_WAY),
    "quality:chart": (ACCOUNTS, NOT_THIS_WAY),
    "quality:chart_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "quality:material_chart": (ACCOUNTS, NOT_THIS_WAY),
    "quality:material_chart_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "quality:instrument_chart": (ACCOUNTS, NOT_THIS_WAY),
    "quality:instrument_chart_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "quality:supplier": (ACCOUNTS, NOT_THIS_WAY),
    "quality:consignee": (ACCOUNTS, NOT_THIS_WAY),
    "quality:instrument": (ACCOUNTS, NOT_THIS_WAY),
    "quality:instrument_check": (MAKER, MAKER),
    "quality:instrument_impact": (ACCOUNTS, NOT_THIS_WAY),
    "quality:instrument_impact_pdf": (ACCOUNTS, NOT_THIS_WAY),
    "quality:instrument_impact_csv": (ACCOUNTS, NOT_THIS_WAY),
}

# Well-formed addresses at which there is no record: whoever may come in is told 404,
# whoever may not learns nothing about what exists.
NOTHING_THERE: dict[str, tuple[tuple[str | int, ...], Answers]] = {
    "batches:paper": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:paper_sheet": (("B26-9999-9", 987654), (IN, 404, 404, 404, 404)),
    "quality:blank_sheet": ((987654,), (IN, 404, 404, 404, 404)),
    "producer:register": (("secrets",), (IN, 404, 404, 404, 404)),
    "producer:register_new": (("secrets",), (IN, 403, 404, 403, 403)),
    "producer:register_entry": (("materials", 987654), (IN, 403, 404, 403, 403)),
    "producer:account": ((987654,), (IN, 404, 404, 404, 404)),
    "producer:account_rights": ((987654,), (IN, 404, 403, 403, 403)),
    "producer:account_close": ((987654,), (IN, 404, 403, 403, 403)),
    "producer:account_password": ((987654,), (IN, 404, 403, 403, 403)),
    "producer:act": ((987654,), (IN, 404, 404, 404, 404)),
    "producer:lot": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:lot_certificate": (("L26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:lot_decide": (("L26-9999-9",), (IN, 403, 403, 404, 403)),
    "producer:lot_count": (("L26-9999-9",), (IN, 403, 404, 403, 403)),
    "producer:lot_dispose": (("L26-9999-9",), (IN, 403, 404, 403, 403)),
    "producer:containers": (("L26-9999-9",), (IN, 403, 404, 403, 403)),
    "producer:container_change": (("L26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "producer:stock_take": ((987654,), (IN, 404, 404, 404, 404)),
    "producer:lot_price": (("L26-9999-9",), (IN, 403, 404, 403, 403)),
    "producer:safety_amend": ((987654,), (IN, 403, 404, 403, 403)),
    "producer:safety_void": ((987654,), (IN, 403, 404, 403, 403)),
    "producer:rules_amend": ((987654,), (IN, 403, 404, 403, 403)),
    "producer:rules_void": ((987654,), (IN, 403, 404, 403, 403)),
    "producer:attachment": ((987654,), (IN, 404, 404, 404, 404)),
    "batches:formula": ((987654,), (IN, 404, 404, 404, 404)),
    "batches:formula_version": ((987654,), (IN, 403, 404, 403, 403)),
    "batches:classify": ((987654,), (IN, 403, 404, 403, 403)),
    "batches:item_numbers": ((987654,), (IN, 404, 404, 404, 404)),
    "batches:item_number_give": ((987654,), (IN, 403, 404, 403, 403)),
    "batches:item_number_amend": ((987654,), (IN, 403, 404, 403, 403)),
    "batches:item_number_void": ((987654,), (IN, 403, 404, 403, 403)),
    "batches:label_texts": ((987654,), (IN, 404, 404, 404, 404)),
    "batches:label_text": ((987654, "en", 1), (IN, 404, 404, 404, 404)),
    "batches:label_proof": ((987654,), (IN, 404, 404, 404, 404)),
    "batches:label_proof_picture": ((987654,), (IN, 404, 404, 404, 404)),
    "batches:label_text_write": ((987654, "en"), (IN, 403, 404, 403, 403)),
    "batches:label_text_approve": ((987654, "en", 1), (IN, 403, 403, 404, 403)),
    "batches:label_text_withdraw": ((987654, "en", 1), (IN, 403, 403, 404, 403)),
    "batches:batch": (("B26-9999-9",), (IN, 404, 404, 404, 404)),
    "batches:lots": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:discount": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:charge": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:charge_begin": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:start_finish": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:start_void": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:undo": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:charge_amend": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:charge_void": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:read": (("B26-9999-9", "ph"), (IN, 403, 404, 403, 403)),
    "batches:reading_amend": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:discrepancy": (("B26-9999-9", 1), (IN, 404, 404, 404, 404)),
    "batches:discrepancy_explain": (("B26-9999-9", 1), (IN, 403, 403, 404, 403)),
    "batches:weigh": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:weigh_amend": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:correct": (("B26-9999-9", "L26-9999-9"), (IN, 403, 404, 403, 403)),
    "batches:loss": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:portion_add": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:portion_amend": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:portion_void": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:liquid_read": (("B26-9999-9", "density"), (IN, 403, 404, 403, 403)),
    "batches:liquid_amend": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:liquid_void": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:loss_amend": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:loss_void": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:costs": (("B26-9999-9",), (IN, 404, 404, 404, 404)),
    "batches:cost_add": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:cost_amend": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:cost_void": (("B26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:pot": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:finish": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:abandon": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:fill": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:titrate": (("L26-9999-9", "potash"), (IN, 403, 404, 403, 403)),
    "batches:titration_void": (("L26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:container": (("L26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:container_amend": (("L26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:container_void": (("L26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:history": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "batches:filling_lot": (("F26-9999-9",), (IN, 404, 404, 404, 404)),
    "batches:label_issue": (("F26-9999-9", 1), (IN, 404, 404, 404, 404)),
    "batches:label_issue_pdf": (("F26-9999-9", 1), (IN, 404, 404, 404, 404)),
    "batches:label_count": (("F26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:label_count_amend": (("F26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:label_count_void": (("F26-9999-9", 1), (IN, 403, 404, 403, 403)),
    "batches:label_format": ((987654,), (IN, 403, 404, 403, 403)),
    "quality:labels": (("F26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:sample": (("F26-9999-9",), (IN, 403, 404, 403, 403)),
    "batches:sample_look": (("F26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "batches:sample_look_amend": (("F26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "batches:sample_look_void": (("F26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:bottle_move": (("222222222224",), (IN, 403, 404, 404, 403)),
    "quality:bottle_doubt_report": (("222222222224",), (IN, 403, 404, 404, 403)),
    "quality:bottle_doubt_settle": ((987654,), (IN, 403, 403, 404, 403)),
    "quality:consignee_erase": ((987654,), (IN, 403, 404, 403, 403)),
    "batches:dispatch": (("D26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:dispatch_take_back": (("D26-9999-9",), (IN, 403, 404, 404, 403)),
    "quality:dispatch_note": (("D26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:dispatch_csv": (("D26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:bottle": (("222222222224",), (404, 404, 404, 404, 404)),
    "quality:bottle_scanned": (("222222222224",), (404, 404, 404, 404, 404)),
    "quality:scan_alert": ((987654,), (IN, 403, 404, 404, 403)),
    "quality:limits": ((987654,), (IN, 404, 404, 404, 404)),
    "quality:limit_set": ((987654,), (IN, 403, 403, 404, 403)),
    "quality:material_limits": ((987654,), (IN, 404, 404, 404, 404)),
    "quality:material_limit_set": ((987654,), (IN, 403, 403, 404, 403)),
    "quality:review": (("B26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:batch_sheet": (("B26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:hold_points": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:dossier": (("B26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:sign": (("B26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:doses": (("B26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:fill_check": (("F26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:fill_check_take_back": (("F26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:fill_free": (("F26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:fill_release": (("F26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:change_charge": (("B26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:void_charge": (("B26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:change_reading": (("B26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:void_reading": (("B26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:change_weighing": (("B26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:change_loss": (("B26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:void_loss": (("B26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:void_titration": (("B26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:revision": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:alkali": (("B26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:correction": (("B26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:affected": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:affected_pdf": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:events_of": (("F26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:flow": (("F26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:flow_pdf": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:affected_csv": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:affected_json": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:affected_bottles_pdf": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:affected_bottles": (("L26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_open": (("L26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:affected_by": (("container", "9999999"), (IN, 404, 404, 404, 404)),
    "quality:affected_pdf_by": (("check", "9999999"), (IN, 404, 404, 404, 404)),
    "quality:affected_csv_by": (("time", "x.y.z"), (IN, 404, 404, 404, 404)),
    "quality:affected_json_by": (("time", "x.y.z"), (IN, 404, 404, 404, 404)),
    "quality:affected_bottles_pdf_by": (("time", "x"), (IN, 404, 404, 404, 404)),
    "quality:affected_bottles_by": (("container", "0"), (IN, 404, 404, 404, 404)),
    "quality:recall_open_by": (("nothing", "1"), (IN, 403, 403, 404, 403)),
    "quality:deviation": (("V26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:deviation_open": (("B26-9999-9",), (IN, 403, 404, 404, 403)),
    "quality:deviation_open_instrument": ((987654,), (IN, 403, 404, 404, 403)),
    "quality:deviation_step": (("V26-9999-9",), (IN, 403, 404, 404, 403)),
    "quality:deviation_close": (("V26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:complaint": (("C26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:complaint_pdf": (("C26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:complaint_amend": (("C26-9999-9",), (IN, 403, 404, 404, 403)),
    "quality:complaint_step": (("C26-9999-9",), (IN, 403, 404, 404, 403)),
    "quality:complaint_step_amend": (("C26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:complaint_step_void": (("C26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:complaint_close": (("C26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:complaint_reopen": (("C26-9999-9",), (IN, 403, 404, 404, 403)),
    "quality:audit_drawn": (("123456-9999-9",), (IN, 404, 403, 404, 404)),
    "quality:audit_pdf": (("123456",), (IN, 404, 403, 404, 404)),
    "quality:audit_held": (("123456-1-9999",), (IN, 404, 403, 404, 403)),
    "quality:inspection": ((999_999,), (IN, 404, 403, 404, 404)),
    "quality:inspection_amend": ((999_999,), (IN, 404, 403, 404, 403)),
    "quality:inspection_void": ((999_999,), (IN, 404, 403, 404, 403)),
    "quality:recall": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_pdf": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_csv": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_notices": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_notices_pdf": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_look_again": (("R26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:recall_hazard_new": (("R26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:recall_all_clear": (("R26-9999-9",), (IN, 403, 404, 404, 403)),
    "quality:recall_json": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_bottles_pdf": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_bottles": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_advance": (("R26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:recall_close": (("R26-9999-9",), (IN, 403, 403, 404, 403)),
    "quality:recall_report": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_report_pdf": (("R26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:recall_contact_new": (("R26-9999-9",), (IN, 403, 404, 404, 403)),
    "quality:recall_contact_amend": (("R26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:recall_contact_void": (("R26-9999-9", 1), (IN, 403, 404, 404, 403)),
    "quality:mix_new": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:mix": (("M26-9999-9",), (IN, 404, 404, 404, 404)),
    "quality:mix_amend": (("M26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:mix_void": (("M26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:mix_leftovers": (("M26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:patch_test_new": (("B26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:patch_test_look": (("T26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:patch_test_void": (("T26-9999-9",), (IN, 403, 404, 403, 403)),
    "quality:chart": ((987654, "ph"), (IN, 404, 404, 404, 404)),
    "quality:chart_pdf": ((987654, "ph"), (IN, 404, 404, 404, 404)),
    "quality:material_chart": ((987654, "assay"), (IN, 404, 404, 404, 404)),
    "quality:material_chart_pdf": ((987654, "assay"), (IN, 404, 404, 404, 404)),
    "quality:instrument_chart": ((987654, "error"), (IN, 404, 404, 404, 404)),
    "quality:instrument_chart_pdf": ((987654, "error"), (IN, 404, 404, 404, 404)),
    "quality:supplier": ((987654,), (IN, 404, 404, 404, 404)),
    "quality:consignee": ((987654,), (IN, 404, 404, 404, 404)),
    "quality:instrument": ((987654,), (IN, 404, 404, 404, 404)),
    "quality:instrument_check": ((987654,), (IN, 403, 404, 403, 403)),
    "quality:instrument_impact": ((987654,), (IN, 404, 404, 404, 404)),
    "quality:instrument_impact_pdf": ((987654,), (IN, 404, 404, 404, 404)),
    "quality:instrument_impact_csv": ((987654,), (IN, 404, 404, 404, 404)),
}

Seen = dict[tuple[str, str], Answer]


def client_of(world: World, role: str) -> Client:
    """Return a browser in which this role is signed in."""
    client = Client()
    account = world.account(role)
    if account is not None:
        client.force_login(account)
    return client


def answer_of(response: HttpResponseBase) -> Answer:
    """Return the status, or where a redirect leads; read to its end what streams."""
    if isinstance(response, StreamingHttpResponse):
        response.getvalue()
    if response.status_code != 302:
        return response.status_code
    target = str(response.headers["Location"]).partition("?")[0]
    return IN if target == reverse("producer:sign_in") else target


def sweep(world: World, role: str, method: str, **sent: Any) -> Seen:
    """Ask for every address once; return each answer."""
    seen: Seen = {}
    for name, tries in worlds.addresses(world).items():
        for address in tries:
            client = client_of(world, role)  # signing out is one of the addresses
            response = client.generic(method, address, **sent)
            seen[name, address] = answer_of(response)
    return seen


def expected(world: World, role: str, answers: dict[str, Answers]) -> Seen:
    """Return the same shape from the table."""
    place = ROLES.index(role)
    return {
        (name, address): answers[name][place]
        for name, tries in worlds.addresses(world).items()
        for address in tries
    }


def test_every_url_name_is_in_the_table() -> None:
    assert set(TABLE) == set(worlds.url_names())


def test_every_url_that_names_a_record_is_tried_where_there_is_none() -> None:
    with_arguments = {
        name
        for name, pattern in worlds.url_names().items()
        if pattern.pattern.converters
    }
    assert set(NOTHING_THERE) == with_arguments


def test_the_site_has_no_addresses_but_those_of_the_three_apps() -> None:
    apps = {name.partition(":")[0] for name in worlds.url_names()}
    assert apps == {"producer", "batches", "quality"}


@pytest.mark.parametrize("role", ROLES)
def test_each_role_reads_what_it_may(world: World, role: str) -> None:
    before = row_counts()
    table = {name: on_get for name, (on_get, _) in TABLE.items()}
    assert sweep(world, role, "GET") == expected(world, role, table)
    assert sweep(world, role, "HEAD") == expected(world, role, table)
    assert row_counts() == before


FORM = "application/x-www-form-urlencoded"


@pytest.mark.parametrize("role", ROLES)
def test_a_post_that_says_nothing_is_answered_by_right_and_changes_nothing(
    world: World, role: str
) -> None:
    before = row_counts()
    table = {name: on_post for name, (_, on_post) in TABLE.items()}
    for body in ("", "something=else"):
        seen = sweep(world, role, "POST", data=body, content_type=FORM)
        assert seen == expected(world, role, table)
    assert row_counts() == before


@pytest.mark.parametrize("role", ROLES)
def test_no_other_method_is_taken(world: World, role: str) -> None:
    before = row_counts()
    public = {
        "producer:set_up",
        "quality:bottle",
        "quality:bottle_scanned",
        "quality:bottle_typed",
    }
    table = {
        name: NOT_THIS_WAY_AT_ALL if name in public else NOT_THIS_WAY for name in TABLE
    }
    for method in ("PUT", "DELETE"):
        table["producer:sign_in"] = sign_in_with(method)
        assert sweep(world, role, method) == expected(world, role, table)
    assert row_counts() == before


def sign_in_with(method: str) -> Answers:
    """Return what Django's own sign-in answers: it looks who is there first."""
    return SIGNED_IN_ALREADY if method == "PUT" else (405, "/", "/", "/", "/")


@pytest.mark.parametrize("role", ROLES)
def test_what_does_not_exist_is_not_found_by_those_who_may_look(
    world: World, role: str
) -> None:
    client, place = client_of(world, role), ROLES.index(role)
    seen = {
        name: answer_of(client.get(reverse(name, args=arguments)))
        for name, (arguments, _) in NOTHING_THERE.items()
    }
    assert seen == {name: rest[place] for name, (_, rest) in NOTHING_THERE.items()}


def test_a_form_takes_nothing_from_a_right_that_may_only_look(world: World) -> None:
    """The whole form, rightly filled in, and refused all the same; then the control."""
    address = reverse("producer:lot_count", args=[world.lot.code])
    form = {
        "submission": "6e1c1f0e-3d4a-4f5c-9a41-000000000001",
        "counted_mg": "1 kg",
        "reason": "weighed the tin",
    }
    before = row_counts()
    for role in ("visitor", "owner", "reviewer", "auditor"):
        assert answer_of(client_of(world, role).post(address, form)) in {IN, 403}
    assert row_counts() == before
    assert answer_of(client_of(world, "maker").post(address, form)) == reverse(
        "producer:lot", args=[world.lot.code]
    )
    assert row_counts() != before


def test_a_closed_account_is_a_visitor_at_once(world: World) -> None:
    client = client_of(world, "auditor")
    assert answer_of(client.get("/journal/")) == 200
    people.deactivate(
        by=world.accounts["owner"], user=world.accounts["auditor"], reason="left"
    )
    assert answer_of(client.get("/journal/")) == IN


def test_the_address_asked_for_comes_back_after_signing_in(world: World) -> None:
    response = Client().get(reverse("producer:lot", args=[world.lot.code]))
    assert response.headers["Location"].endswith(f"?next=/lots/{world.lot.code}/")


def test_a_right_that_is_taken_away_is_gone_at_the_next_page(world: World) -> None:
    client = client_of(world, "maker")
    assert answer_of(client.get("/lots/receive/")) == 200
    people.change_rights(
        by=world.accounts["owner"],
        user=world.accounts["maker"],
        rights=[],
        reason="on leave",
    )
    assert answer_of(client.get("/lots/receive/")) == 403
