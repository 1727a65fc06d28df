"""URLs of the estimates app, grouped by noun; names are ``estimates-<verb>-<noun>``."""

from django.urls import path

from estimates.views import house, lead_acts, leads, session

urlpatterns = [
    path("", session.show_home, name="estimates-show-home"),
    path("sign-in/", session.sign_in, name="estimates-sign-in"),
    path("sign-out/", session.sign_out, name="estimates-sign-out"),
    path("health/", session.show_health, name="estimates-show-health"),
    path("houses/", house.list_houses, name="estimates-list-houses"),
    path("houses/<uuid:code>/", house.show_house, name="estimates-show-house"),
    path("houses/<uuid:code>/files/<str:name>", house.download_file, name="estimates-download-file"),
    path("leads/", leads.list_leads, name="estimates-list-leads"),
    path("leads/take/", lead_acts.take_lead, name="estimates-take-lead"),
    path("leads/alike/", leads.show_leads_alike, name="estimates-show-leads-alike"),
    path("leads/sources/", leads.change_sources, name="estimates-change-lead-sources"),
    path("leads/<uuid:code>/", leads.show_lead, name="estimates-show-lead"),
    path("leads/<uuid:code>/change/", lead_acts.change_lead, name="estimates-change-lead"),
    path("leads/<uuid:code>/move/<str:stage>/", lead_acts.move_lead, name="estimates-move-lead"),
    path("leads/<uuid:code>/call/", lead_acts.log_call, name="estimates-log-call"),
    path("leads/<uuid:code>/house/", lead_acts.make_house, name="estimates-make-house"),
]
