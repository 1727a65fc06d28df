"""URLs of the crew's pages, all below one folder: the service worker of the phone reaches that far and no further."""

from django.urls import path

from jobs.views import crew, crew_phone

urlpatterns = [
    path("", crew.show_today, name="jobs-show-today"),
    path("jobs/<uuid:code>/", crew.show_sheet, name="jobs-show-crew-sheet"),
    path("jobs/<uuid:code>/walls/<str:key>/", crew.show_wall, name="jobs-show-crew-wall"),
    path("jobs/<uuid:code>/report/<slug:name>/", crew.report_entry, name="jobs-report-entry"),
    path("jobs/<uuid:code>/photos/<uuid:entry>/", crew.show_photo, name="jobs-show-crew-photo"),
    path("phone/", crew_phone.show_queue, name="jobs-show-queue"),
    path("phone/session/", crew_phone.tell_session, name="jobs-tell-session"),
    path("phone/entries/", crew_phone.receive_entries, name="jobs-receive-entries"),
    path("worker.js", crew_phone.give_worker, name="jobs-give-worker"),
]
