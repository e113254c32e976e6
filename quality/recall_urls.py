"""Addresses of recalls: what rests on something, and the recall itself."""

from django.urls import path

from quality.views import recall_lists, recall_steps, recalls

PATTERNS = [
    path("affected/<str:code>/", recalls.affected, name="affected"),
    path("affected/<str:code>/list.pdf", recalls.affected_pdf, name="affected_pdf"),
    path(
        "affected/<str:code>/list.csv",
        recall_lists.affected_list,
        {"form": "csv"},
        name="affected_csv",
    ),
    path(
        "affected/<str:code>/list.json",
        recall_lists.affected_list,
        {"form": "json"},
        name="affected_json",
    ),
    path(
        "affected/<str:code>/bottles.pdf",
        recall_lists.affected_list,
        {"form": "pdf"},
        name="affected_bottles_pdf",
    ),
    path(
        "affected/<str:code>/bottles/",
        recall_lists.affected_bottles,
        name="affected_bottles",
    ),
    path("affected/<str:code>/recall/", recalls.recall_open, name="recall_open"),
    path("affected-by/<slug:kind>/<str:ident>/", recalls.affected, name="affected_by"),
    path(
        "affected-by/<slug:kind>/<str:ident>/list.pdf",
        recalls.affected_pdf,
        name="affected_pdf_by",
    ),
    path(
        "affected-by/<slug:kind>/<str:ident>/list.csv",
        recall_lists.affected_list,
        {"form": "csv"},
        name="affected_csv_by",
    ),
    path(
        "affected-by/<slug:kind>/<str:ident>/list.json",
        recall_lists.affected_list,
        {"form": "json"},
        name="affected_json_by",
    ),
    path(
        "affected-by/<slug:kind>/<str:ident>/bottles.pdf",
        recall_lists.affected_list,
        {"form": "pdf"},
        name="affected_bottles_pdf_by",
    ),
    path(
        "affected-by/<slug:kind>/<str:ident>/bottles/",
        recall_lists.affected_bottles,
        name="affected_bottles_by",
    ),
    path(
        "affected-by/<slug:kind>/<str:ident>/recall/",
        recalls.recall_open,
        name="recall_open_by",
    ),
    path("recalls/", recalls.recalls, name="recalls"),
    path("recalls/of-a-time/", recalls.recall_window, name="recall_window"),
    path("recalls/<str:code>/", recalls.recall, name="recall"),
    path("recalls/<str:code>/list.pdf", recalls.recall_pdf, name="recall_pdf"),
    path(
        "recalls/<str:code>/list.csv",
        recall_lists.recall_list,
        {"form": "csv"},
        name="recall_csv",
    ),
    path(
        "recalls/<str:code>/list.json",
        recall_lists.recall_list,
        {"form": "json"},
        name="recall_json",
    ),
    path(
        "recalls/<str:code>/bottles.pdf",
        recall_lists.recall_list,
        {"form": "pdf"},
        name="recall_bottles_pdf",
    ),
    path(
        "recalls/<str:code>/bottles/",
        recall_lists.recall_bottles,
        name="recall_bottles",
    ),
    path(
        "recalls/<str:code>/advance/",
        recall_steps.recall_advance,
        name="recall_advance",
    ),
    path(
        "recalls/<str:code>/look-again/",
        recall_steps.recall_look_again,
        name="recall_look_again",
    ),
    path(
        "recalls/<str:code>/hazard/",
        recall_steps.recall_hazard_new,
        name="recall_hazard_new",
    ),
    path(
        "recalls/<str:code>/all-clear/",
        recall_steps.recall_all_clear,
        name="recall_all_clear",
    ),
    path(
        "recalls/<str:code>/notices/",
        recall_steps.recall_notices,
        name="recall_notices",
    ),
    path(
        "recalls/<str:code>/notices.pdf",
        recall_steps.recall_notices_pdf,
        name="recall_notices_pdf",
    ),
    path("recalls/<str:code>/close/", recall_steps.recall_close, name="recall_close"),
    path(
        "recalls/<str:code>/attempts/new/",
        recall_steps.recall_contact_new,
        name="recall_contact_new",
    ),
    path(
        "recalls/<str:code>/attempts/<int:pk>/amend/",
        recall_steps.recall_contact_amend,
        name="recall_contact_amend",
    ),
    path(
        "recalls/<str:code>/attempts/<int:pk>/void/",
        recall_steps.recall_contact_void,
        name="recall_contact_void",
    ),
    path(
        "recalls/<str:code>/report/", recall_steps.recall_report, name="recall_report"
    ),
    path(
        "recalls/<str:code>/report.pdf",
        recall_steps.recall_report_pdf,
        name="recall_report_pdf",
    ),
]
