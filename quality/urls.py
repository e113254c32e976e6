"""Addresses of deciding, the first page and the bottle page."""

from django.urls import path

from quality.views import (
    alkali,
    bottles,
    charts,
    corrections,
    liquids,
    methods,
    overview,
    recalls,
    reviews,
    sheets,
)

app_name = "quality"
urlpatterns = [
    path("", overview.today, name="today"),
    path("find/", overview.find, name="find"),
    path("methods/", methods.methods, name="methods"),
    path("b/<str:code>/", bottles.bottle, name="bottle"),
    path("limits/<int:pk>/", reviews.limits, name="limits"),
    path("limits/<int:pk>/set/", reviews.limit_set, name="limit_set"),
    path("batches/<str:number>/sheet.pdf", sheets.batch_sheet, name="batch_sheet"),
    path("review/<str:number>/", reviews.review, name="review"),
    path("review/<str:number>/sign/", reviews.sign, name="sign"),
    path("batches/<str:number>/alkali/", alkali.alkali, name="alkali"),
    path("batches/<str:number>/doses/", liquids.doses, name="doses"),
    path("bottles/<str:code>/check/", liquids.fill_check, name="fill_check"),
    path("batches/<str:number>/correct/", corrections.correction, name="correction"),
    path("affected/<str:code>/", recalls.affected, name="affected"),
    path("affected/<str:code>/list.pdf", recalls.affected_pdf, name="affected_pdf"),
    path("affected/<str:code>/list.csv", recalls.affected_csv, name="affected_csv"),
    path("affected/<str:code>/recall/", recalls.recall_open, name="recall_open"),
    path("charts/", charts.charts, name="charts"),
    path(
        "charts/<int:pk>/<slug:characteristic>/",
        charts.chart,
        name="chart",
    ),
    path("instruments/<int:pk>/", charts.instrument, name="instrument"),
    path(
        "instruments/<int:pk>/check/",
        charts.instrument_check,
        name="instrument_check",
    ),
    path("recalls/", recalls.recalls, name="recalls"),
    path("recalls/<str:code>/", recalls.recall, name="recall"),
    path("recalls/<str:code>/list.pdf", recalls.recall_pdf, name="recall_pdf"),
    path("recalls/<str:code>/advance/", recalls.recall_advance, name="recall_advance"),
]
