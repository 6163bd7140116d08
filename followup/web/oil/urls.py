from django.urls import path

from followup.web.oil import views

urlpatterns = [path("oil/", views.oil, name="oil")]
