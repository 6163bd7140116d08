from django.urls import path

from followup.web.audit import views

urlpatterns = [
    path("audit/", views.audit_page, name="audit"),
    path("audit/curve.svg", views.curve_svg, name="audit_svg"),
    path("audit/curve.png", views.curve_png, name="audit_png"),
    path("audit/eyes/", views.eyes_page, name="audit_eyes"),
    path("audit/eyes.xlsx", views.eyes_xlsx, name="audit_xlsx"),
    path("audit/eyes.csv", views.eyes_csv, name="audit_csv"),
]
