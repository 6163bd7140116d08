from django.urls import path

from followup.web.exports import views

urlpatterns = [path("exports/", views.exports, name="exports")]
