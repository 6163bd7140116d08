from django.urls import path

from followup.web.home import views

urlpatterns = [
    path("", views.home, name="home"),
    path("standings.json", views.standings_json, name="standings_json"),
]
