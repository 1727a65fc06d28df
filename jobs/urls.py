"""URLs of the jobs app; names are ``jobs-<verb>-<noun>``. Those with a token are for people without an account."""

from django.urls import path

from jobs.views import crews, gates, homeowner, jobs, verification

urlpatterns = [
    path("yours/<str:token>/", homeowner.show_proposal, name="jobs-show-proposal"),
    path("yours/<str:token>/opened/", homeowner.note_opening, name="jobs-note-opening"),
    path("yours/<str:token>/papers/<str:name>", homeowner.download_paper, name="jobs-download-paper"),
    path("yours/<str:token>/fact-sheets/", homeowner.read_fact_sheets, name="jobs-read-fact-sheets"),
    path("yours/<str:token>/ask/", homeowner.ask_question, name="jobs-ask-question"),
    path("yours/<str:token>/accept/", homeowner.accept_proposal, name="jobs-accept-proposal"),
    path("yours/<str:token>/decline/", homeowner.decline_proposal, name="jobs-decline-proposal"),
    path("yours/<str:token>/cancel/", homeowner.cancel_contract, name="jobs-cancel-contract"),
    path("crews/", crews.list_crews, name="jobs-list-crews"),
    path("crews/crew/new/", crews.change_crew, name="jobs-add-crew"),
    path("crews/crew/<uuid:code>/", crews.change_crew, name="jobs-change-crew"),
    path("crews/people/new/", crews.change_worker, name="jobs-add-worker"),
    path("crews/people/<uuid:code>/", crews.change_worker, name="jobs-change-worker"),
    path("crews/rigs/new/", crews.change_rig, name="jobs-add-rig"),
    path("crews/rigs/<uuid:code>/", crews.change_rig, name="jobs-change-rig"),
    path("crews/certificates/new/", crews.add_certificate, name="jobs-add-certificate"),
    path("crews/away/new/", crews.add_absence, name="jobs-add-absence"),
    path("crews/away/<uuid:code>/take-back/", crews.remove_absence, name="jobs-remove-absence"),
    path("jobs/", jobs.list_jobs, name="jobs-list-jobs"),
    path("jobs/book/<uuid:code>/", jobs.book_job, name="jobs-book-job"),
    path("jobs/<uuid:code>/", jobs.show_job, name="jobs-show-job"),
    path("jobs/<uuid:code>/change/", jobs.change_job, name="jobs-change-job"),
    path("jobs/<uuid:code>/move/<slug:to>/", jobs.move_job, name="jobs-move-job"),
    path("jobs/<uuid:code>/gates/new/", gates.add_gate, name="jobs-add-gate"),
    path("jobs/<uuid:code>/gates/<uuid:gate>/", gates.meet_gate, name="jobs-meet-gate"),
    path("jobs/<uuid:code>/verification/", verification.show_verification, name="jobs-show-verification"),
    path("jobs/<uuid:code>/verification/tests/<str:when>/", verification.record_test, name="jobs-record-test"),
    path("jobs/<uuid:code>/verification/findings/new/", verification.add_finding, name="jobs-add-finding"),
    path(
        "jobs/<uuid:code>/verification/findings/<uuid:finding>/close/",
        verification.close_finding,
        name="jobs-close-finding",
    ),
    path("jobs/<uuid:code>/verification/infrared/<str:key>/", verification.show_infrared, name="jobs-show-infrared"),
    path("jobs/<uuid:code>/verification/verify/", verification.verify_job, name="jobs-verify-job"),
    path("jobs/<uuid:code>/verification/release/", verification.release_void, name="jobs-release-void"),
]
