from django.urls import path

from followup.web.staff import views

urlpatterns = [
    path("sign-in/", views.SignIn.as_view(), name="sign_in"),
    path("sign-out/", views.SignOut.as_view(), name="sign_out"),
    path("site/", views.choose_site, name="choose_site"),
]
