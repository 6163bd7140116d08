from django.urls import path

from followup.web.home import views

urlpatterns = [path("", views.home, name="home")]
