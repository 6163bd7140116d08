from django.urls import path

from followup.web.pathway import views

urlpatterns = [
    path("pathways/", views.pathways, name="pathways"),
    path("pathways/<slug:key>/edit/", views.edit_pathway, name="edit_pathway"),
]
