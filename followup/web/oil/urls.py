from django.urls import path

from followup.web.oil import views

urlpatterns = [
    path("oil/", views.oil, name="oil"),
    path("oil.csv", views.sheet, {"kind": "csv"}, name="oil_csv"),
    path("oil.xlsx", views.sheet, {"kind": "xlsx"}, name="oil_xlsx"),
]
