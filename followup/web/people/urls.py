from django.urls import path

from followup.web.people import consents, duplicates, views

urlpatterns = [
    path("search/", views.search, name="search"),
    path("patients/new/", views.register, name="register"),
    path("patients/<int:pk>/", views.patient, name="patient"),
    path("patients/<int:pk>/change/", views.change, name="change_patient"),
    path("patients/<int:pk>/consents/", consents.consents, name="consents"),
    path("duplicates/", duplicates.duplicates, name="duplicates"),
    path("patients/<int:pk>/beside/", duplicates.beside, name="beside"),
    path("merges/<int:pk>/undo/", duplicates.undo, name="undo_merge"),
    path("patients/<int:pk>/history/", views.history, name="history"),
]
