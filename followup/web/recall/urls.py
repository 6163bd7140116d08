from django.urls import path

from followup.web.recall import measures, views

urlpatterns = [
    path("recall/", views.recall, name="recall"),
    path("recall.csv", views.sheet, {"kind": "csv"}, name="recall_csv"),
    path("recall.xlsx", views.sheet, {"kind": "xlsx"}, name="recall_xlsx"),
    path("recall/measures/", measures.measures, name="recall_measures"),
    path("recall/measures.csv", measures.measures_csv, name="recall_measures_csv"),
    path("recall/measures.svg", measures.measures_svg, name="recall_measures_svg"),
    path("decisions/", views.questions, name="questions"),
    path("patients/<int:pk>/attempts/new/", views.attempt, name="attempt"),
]
