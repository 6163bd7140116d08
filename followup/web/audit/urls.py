from django.urls import path

from followup.web.audit import locked, monitor, views

urlpatterns = [
    path("audit/", views.audit_page, name="audit"),
    path("audit/curve.svg", views.curve_svg, name="audit_svg"),
    path("audit/curve.png", views.curve_png, name="audit_png"),
    path("audit/eyes/", views.eyes_page, name="audit_eyes"),
    path("audit/eyes.xlsx", views.eyes_xlsx, name="audit_xlsx"),
    path("audit/eyes.csv", views.eyes_csv, name="audit_csv"),
    path("audit/report.pdf", views.report_pdf, name="audit_pdf"),
    path("audit/over-time/", monitor.monitor, name="audit_monitor"),
    path("audit/over-time.svg", monitor.monitor_svg, name="audit_monitor_svg"),
    path("audit/over-time.csv", monitor.monitor_csv, name="audit_monitor_csv"),
    path("audit/lock/", locked.lock, name="lock_audit"),
    path("audit/locked/", locked.locked_list, name="locked_audits"),
    path("audit/locked/<int:pk>/", locked.locked_audit, name="locked_audit"),
    path("audit/locked/<int:pk>/withdraw/", locked.withdraw, name="withdraw_audit"),
    path("audit/locked/<int:pk>/eyes/", locked.eyes, name="locked_eyes"),
    path("audit/locked/<int:pk>/differing/", locked.differing, name="locked_differing"),
    path("audit/locked/<int:pk>/report.pdf", locked.report_pdf, name="locked_pdf"),
    path("audit/locked/<int:pk>/curve.svg", locked.curve_svg, name="locked_svg"),
    path("audit/locked/<int:pk>/curve.png", locked.drawing, {"kind": "png"}, name="locked_png"),
    path("audit/locked/<int:pk>/eyes.csv", locked.sheet, {"kind": "csv"}, name="locked_csv"),
    path("audit/locked/<int:pk>/eyes.xlsx", locked.sheet, {"kind": "xlsx"}, name="locked_xlsx"),
]
