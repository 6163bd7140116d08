from django.urls import path

from followup.web.pathway import views

urlpatterns = [path("pathways/", views.pathways, name="pathways")]
