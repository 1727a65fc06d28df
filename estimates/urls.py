"""URLs of the estimates app, grouped by noun; names are ``estimates-<verb>-<noun>``."""

from django.urls import path

from estimates.views import house, session

urlpatterns = [
    path("", session.show_home, name="estimates-show-home"),
    path("sign-in/", session.sign_in, name="estimates-sign-in"),
    path("sign-out/", session.sign_out, name="estimates-sign-out"),
    path("health/", session.show_health, name="estimates-show-health"),
    path("houses/", house.list_houses, name="estimates-list-houses"),
    path("houses/<uuid:code>/", house.show_house, name="estimates-show-house"),
    path("houses/<uuid:code>/files/<str:name>", house.download_file, name="estimates-download-file"),
]
