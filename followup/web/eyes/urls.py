from django.urls import path

from followup.web.eyes import views

urlpatterns = [
    path("eyes/<int:pk>/", views.eye, name="eye"),
    path("eyes/<int:pk>/change/", views.change, name="change_eye"),
    path("eyes/<int:pk>/course.svg", views.figure, name="eye_figure"),
]
