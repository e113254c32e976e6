"""Addresses of deciding, the first page and the bottle page."""

from django.urls import path

from quality.views import bottles, overview, recalls, reviews

app_name = "quality"
urlpatterns = [
    path("", overview.today, name="today"),
    path("find/", overview.find, name="find"),
    path("b/<str:code>/", bottles.bottle, name="bottle"),
    path("limits/<int:pk>/", reviews.limits, name="limits"),
    path("limits/<int:pk>/set/", reviews.limit_set, name="limit_set"),
    path("review/<str:number>/", reviews.review, name="review"),
    path("review/<str:number>/sign/", reviews.sign, name="sign"),
    path("affected/<str:code>/", recalls.affected, name="affected"),
    path("affected/<str:code>/list.pdf", recalls.affected_pdf, name="affected_pdf"),
    path("affected/<str:code>/list.csv", recalls.affected_csv, name="affected_csv"),
    path("affected/<str:code>/recall/", recalls.recall_open, name="recall_open"),
    path("recalls/", recalls.recalls, name="recalls"),
    path("recalls/<str:code>/", recalls.recall, name="recall"),
    path("recalls/<str:code>/list.pdf", recalls.recall_pdf, name="recall_pdf"),
    path("recalls/<str:code>/advance/", recalls.recall_advance, name="recall_advance"),
]
