from django.urls import path

from followup.web.operations import views

urlpatterns = [
    path("patients/<int:pk>/operations/new/", views.record, name="record_operation"),
    path("operations/<int:pk>/correct/", views.correct, name="correct_operation"),
    path("operations/<int:pk>/in-error/", views.in_error, name="operation_in_error"),
]
