from django.urls import path

from followup.web.symptoms import views

urlpatterns = [
    path("symptoms/", views.find_person, name="find_symptoms"),
    path("patients/<int:pk>/symptoms/", views.report, name="report_symptoms"),
    path("symptoms/<int:pk>/answer/", views.answer, name="answer_symptoms"),
]
