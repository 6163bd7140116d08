from django.urls import path

from followup.web.staff import people, views

urlpatterns = [
    path("sign-in/", views.SignIn.as_view(), name="sign_in"),
    path("sign-out/", views.SignOut.as_view(), name="sign_out"),
    path("site/", views.choose_site, name="choose_site"),
    path("site/settings/", people.settings, name="site_settings"),
    path("staff/", people.staff, name="staff"),
    path("staff/new/", people.add, name="add_staff"),
    path("staff/<int:pk>/", people.change, name="change_staff"),
    path("staff/<int:pk>/password/", people.password, name="set_password"),
    path("password/", people.own_password, name="own_password"),
]
