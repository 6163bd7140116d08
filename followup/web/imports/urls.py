from django.urls import path

from followup.web.imports import views

urlpatterns = [
    path("imports/", views.imports, name="imports"),
    path("imports/<int:pk>/", views.outcome, name="import"),
    path("imports/<int:pk>/columns/", views.columns, name="import_columns"),
    path("imports/<int:pk>/confirm/", views.confirm, name="import_confirm"),
    path("imports/<int:pk>/stop/", views.stop, name="import_stop"),
    path("imports/<int:pk>/undo/", views.undo, name="import_undo"),
    path("imports/<int:pk>/again/", views.again, name="import_again"),
    path("imports/<int:pk>/discard/", views.discard, name="import_discard"),
    path("imports/<int:pk>/problems.csv", views.problems, name="import_problems"),
]
