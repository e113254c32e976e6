"""Addresses of deciding, the first page and the bottle page."""

from django.urls import path

from quality import recall_urls
from quality.views import (
    alerts,
    alkali,
    audits,
    bottle_moving,
    bottles,
    certificates,
    changing,
    charts,
    complaints,
    contacts,
    corrections,
    deviations,
    dispatches,
    dossiers,
    doubts,
    filling_release,
    flows,
    goods,
    hold_points,
    instruments,
    labels,
    limits,
    liquids,
    methods,
    overview,
    reviews,
    sheets,
    sprays,
    tracking_events,
)

app_name = "quality"
urlpatterns = [
    path("", overview.today, name="today"),
    path("find/", overview.find, name="find"),
    path("methods/", methods.methods, name="methods"),
    path("b/", bottles.bottle_typed, name="bottle_typed"),
    path("b/<str:code>/", bottles.bottle, name="bottle"),
    # As the square says it: one request less on a poor connection.
    path("b/<str:code>", bottles.bottle, name="bottle_scanned"),
    path("alerts/", alerts.scan_alerts, name="scan_alerts"),
    path("alerts/<int:pk>/", alerts.scan_alert, name="scan_alert"),
    path("limits/<int:pk>/", limits.limits, name="limits"),
    path("limits/<int:pk>/set/", limits.limit_set, name="limit_set"),
    path("materials/<int:pk>/limits/", limits.material_limits, name="material_limits"),
    path(
        "materials/<int:pk>/limits/set/",
        limits.material_limit_set,
        name="material_limit_set",
    ),
    path("lots/<str:code>/decide/", goods.lot_decide, name="lot_decide"),
    path(
        "bottles/<str:code>/release/",
        filling_release.fill_release,
        name="fill_release",
    ),
    path("dispatches/new/", dispatches.dispatch_new, name="dispatch_new"),
    path(
        "dispatches/<str:code>/take-back/",
        dispatches.dispatch_take_back,
        name="dispatch_take_back",
    ),
    path(
        "dispatches/<str:code>/note.pdf", dispatches.dispatch_note, name="dispatch_note"
    ),
    path(
        "dispatches/<str:code>/list.csv", dispatches.dispatch_csv, name="dispatch_csv"
    ),
    path("bottles/move/", dispatches.bottles_move, name="bottles_move"),
    path("bottles/look/", dispatches.bottle_look, name="bottle_look"),
    path("bottles/<str:code>/free/", liquids.fill_free, name="fill_free"),
    path("batches/<str:number>/sheet.pdf", sheets.batch_sheet, name="batch_sheet"),
    path("formulas/<int:pk>/sheet/", sheets.blank_sheet, name="blank_sheet"),
    path(
        "batches/<str:number>/hold-points/",
        hold_points.hold_points,
        name="hold_points",
    ),
    path("batches/<str:number>/dossier.pdf", dossiers.dossier, name="dossier"),
    path("export/", dossiers.export, name="export"),
    path("events/", tracking_events.events, name="events"),
    path("events/<str:code>.json", tracking_events.events_of, name="events_of"),
    path("review/<str:number>/", reviews.review, name="review"),
    path("review/<str:number>/sign/", reviews.sign, name="sign"),
    path(
        "batches/<str:number>/charges/<int:pk>/change/",
        changing.change_charge,
        name="change_charge",
    ),
    path(
        "batches/<str:number>/charges/<int:pk>/withdraw/",
        changing.void_charge,
        name="void_charge",
    ),
    path(
        "batches/<str:number>/readings/<int:pk>/change/",
        changing.change_reading,
        name="change_reading",
    ),
    path(
        "batches/<str:number>/readings/<int:pk>/withdraw/",
        changing.void_reading,
        name="void_reading",
    ),
    path(
        "batches/<str:number>/weighings/<int:pk>/change/",
        changing.change_weighing,
        name="change_weighing",
    ),
    path(
        "batches/<str:number>/losses/<int:pk>/change/",
        changing.change_loss,
        name="change_loss",
    ),
    path(
        "batches/<str:number>/losses/<int:pk>/withdraw/",
        changing.void_loss,
        name="void_loss",
    ),
    path(
        "batches/<str:number>/titrations/<int:pk>/withdraw/",
        changing.void_titration,
        name="void_titration",
    ),
    path(
        "lots/<str:code>/certificate/",
        certificates.lot_certificate,
        name="lot_certificate",
    ),
    path("lots/<str:code>/revision/", certificates.revision, name="revision"),
    path("batches/<str:number>/alkali/", alkali.alkali, name="alkali"),
    path("batches/<str:number>/doses/", liquids.doses, name="doses"),
    path("bottles/<str:code>/labels/", labels.labels, name="labels"),
    path("bottles/<str:code>/check/", liquids.fill_check, name="fill_check"),
    path(
        "bottles/<str:code>/checks/<int:pk>/take-back/",
        liquids.fill_check_take_back,
        name="fill_check_take_back",
    ),
    path("batches/<str:number>/correct/", corrections.correction, name="correction"),
    path("flow/<str:code>/", flows.flow, name="flow"),
    path("flow/<str:code>/flow.pdf", flows.flow_pdf, name="flow_pdf"),
    path("sprays/", sprays.sprays, name="sprays"),
    path("sprays/log.csv", sprays.sprays_csv, name="sprays_csv"),
    path("sprays/log.pdf", sprays.sprays_pdf, name="sprays_pdf"),
    path("sprays/mix/<str:number>/", sprays.mix_new, name="mix_new"),
    path("sprays/try/<str:number>/", sprays.patch_test_new, name="patch_test_new"),
    path("sprays/mixes/<str:code>/", sprays.mix, name="mix"),
    path("sprays/mixes/<str:code>/amend/", sprays.mix_amend, name="mix_amend"),
    path("sprays/mixes/<str:code>/void/", sprays.mix_void, name="mix_void"),
    path(
        "sprays/mixes/<str:code>/leftovers/",
        sprays.mix_leftovers,
        name="mix_leftovers",
    ),
    path(
        "sprays/tests/<str:code>/look/", sprays.patch_test_look, name="patch_test_look"
    ),
    path(
        "sprays/tests/<str:code>/void/", sprays.patch_test_void, name="patch_test_void"
    ),
    path("charts/", charts.charts, name="charts"),
    path(
        "charts/<int:pk>/<slug:characteristic>/",
        charts.chart,
        {"kind": "formula"},
        name="chart",
    ),
    path(
        "charts/<int:pk>/<slug:characteristic>/chart.pdf",
        charts.chart_pdf,
        {"kind": "formula"},
        name="chart_pdf",
    ),
    path(
        "charts/materials/<int:pk>/<slug:characteristic>/",
        charts.chart,
        {"kind": "material"},
        name="material_chart",
    ),
    path(
        "charts/materials/<int:pk>/<slug:characteristic>/chart.pdf",
        charts.chart_pdf,
        {"kind": "material"},
        name="material_chart_pdf",
    ),
    path(
        "charts/instruments/<int:pk>/<slug:characteristic>/",
        charts.chart,
        {"kind": "instrument"},
        name="instrument_chart",
    ),
    path(
        "charts/instruments/<int:pk>/<slug:characteristic>/chart.pdf",
        charts.chart_pdf,
        {"kind": "instrument"},
        name="instrument_chart_pdf",
    ),
    path("instruments/<int:pk>/", instruments.instrument, name="instrument"),
    path(
        "instruments/<int:pk>/check/",
        instruments.instrument_check,
        name="instrument_check",
    ),
    path(
        "instruments/<int:pk>/impact/",
        instruments.instrument_impact,
        name="instrument_impact",
    ),
    path(
        "instruments/<int:pk>/impact/list.pdf",
        instruments.instrument_impact_pdf,
        name="instrument_impact_pdf",
    ),
    path(
        "instruments/<int:pk>/impact/list.csv",
        instruments.instrument_impact_csv,
        name="instrument_impact_csv",
    ),
    path("suppliers/<int:pk>/", contacts.supplier, name="supplier"),
    path("consignees/<int:pk>/", contacts.consignee, name="consignee"),
    path(
        "consignees/<int:pk>/erase/", contacts.consignee_erase, name="consignee_erase"
    ),
    path("b/<str:code>/move/", bottle_moving.bottle_move, name="bottle_move"),
    path("b/<str:code>/doubt/", doubts.bottle_doubt_report, name="bottle_doubt_report"),
    path(
        "doubts/<int:pk>/settle/",
        doubts.bottle_doubt_settle,
        name="bottle_doubt_settle",
    ),
    path("deviations/", deviations.deviations, name="deviations"),
    path("deviations/of/<str:code>/", deviations.deviation_open, name="deviation_open"),
    path(
        "instruments/<int:pk>/deviation/",
        deviations.deviation_open_instrument,
        name="deviation_open_instrument",
    ),
    path("deviations/<str:code>/", deviations.deviation, name="deviation"),
    path(
        "deviations/<str:code>/step/", deviations.deviation_step, name="deviation_step"
    ),
    path(
        "deviations/<str:code>/close/",
        deviations.deviation_close,
        name="deviation_close",
    ),
    path("complaints/", complaints.complaints, name="complaints"),
    path("complaints/new/", complaints.complaint_open, name="complaint_open"),
    path("complaints/<str:code>/", complaints.complaint, name="complaint"),
    path(
        "complaints/<str:code>/amend/",
        complaints.complaint_amend,
        name="complaint_amend",
    ),
    path(
        "complaints/<str:code>/step/", complaints.complaint_step, name="complaint_step"
    ),
    path(
        "complaints/<str:code>/steps/<int:pk>/amend/",
        complaints.complaint_step_amend,
        name="complaint_step_amend",
    ),
    path(
        "complaints/<str:code>/steps/<int:pk>/void/",
        complaints.complaint_step_void,
        name="complaint_step_void",
    ),
    path(
        "complaints/<str:code>/close/",
        complaints.complaint_close,
        name="complaint_close",
    ),
    path(
        "complaints/<str:code>/reopen/",
        complaints.complaint_reopen,
        name="complaint_reopen",
    ),
    path(
        "complaints/<str:code>/complaint.pdf",
        complaints.complaint_pdf,
        name="complaint_pdf",
    ),
    path("audit/", audits.audit, name="audit"),
    path("audit/held/<int:pk>/", audits.inspection, name="inspection"),
    path(
        "audit/held/<int:pk>/amend/", audits.inspection_amend, name="inspection_amend"
    ),
    path("audit/held/<int:pk>/void/", audits.inspection_void, name="inspection_void"),
    path("audit/draw/", audits.audit_draw, name="audit_draw"),
    path("audit/<str:number>/", audits.audit_drawn, name="audit_drawn"),
    path("audit/<str:number>/audit.pdf", audits.audit_pdf, name="audit_pdf"),
    path("audit/<str:number>/held/", audits.audit_held, name="audit_held"),
    *recall_urls.PATTERNS,
]
