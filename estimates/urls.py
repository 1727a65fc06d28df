"""URLs of the estimates app, grouped by noun; names are ``estimates-<verb>-<noun>``."""

from django.urls import path

from estimates.views import (
    assessment,
    assessment_bills,
    assessment_edit,
    assessment_gate_sheet,
    assessment_gates,
    assessment_photos,
    assessment_quick,
    estimate,
    estimate_revisions,
    house,
    lead_acts,
    leads,
    price_books,
    session,
)

urlpatterns = [
    path("", session.show_home, name="estimates-show-home"),
    path("sign-in/", session.sign_in, name="estimates-sign-in"),
    path("sign-out/", session.sign_out, name="estimates-sign-out"),
    path("health/", session.show_health, name="estimates-show-health"),
    path("houses/", house.list_houses, name="estimates-list-houses"),
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
    path("houses/<uuid:code>/assessment/", assessment.show_assessment, name="estimates-show-assessment"),
    path("houses/<uuid:code>/assessment/begin/", assessment.begin_assessment, name="estimates-begin-assessment"),
    path(
        "houses/<uuid:code>/assessment/complete/", assessment.complete_assessment, name="estimates-complete-assessment"
    ),
    path("houses/<uuid:code>/assessment/quick/", assessment_quick.enter_assessment, name="estimates-enter-assessment"),
    path("houses/<uuid:code>/assessment/facts/<slug:topic>/", assessment_edit.edit_topic, name="estimates-edit-topic"),
    path("houses/<uuid:code>/assessment/add/<slug:kind>/", assessment_edit.add_part, name="estimates-add-part"),
    path(
        "houses/<uuid:code>/assessment/parts/<slug:kind>/<str:key>/",
        assessment_edit.edit_part_of,
        name="estimates-edit-part",
    ),
    path(
        "houses/<uuid:code>/assessment/parts/<slug:kind>/<str:key>/remove/",
        assessment_edit.remove_part,
        name="estimates-remove-part",
    ),
    path("houses/<uuid:code>/assessment/drawn/", assessment_edit.preview_wall, name="estimates-preview-wall"),
    path("houses/<uuid:code>/assessment/bills/", assessment_bills.import_bills, name="estimates-import-bills"),
    path("houses/<uuid:code>/assessment/gates/", assessment_gates.list_gates, name="estimates-list-gates"),
    path("houses/<uuid:code>/assessment/gates/all/", assessment_gate_sheet.answer_gates, name="estimates-answer-gates"),
    path(
        "houses/<uuid:code>/assessment/gates/<slug:hazard>/", assessment_gates.answer_gate, name="estimates-answer-gate"
    ),
    path(
        "houses/<uuid:code>/assessment/gates/<slug:hazard>/<str:key>/",
        assessment_gates.answer_gate,
        name="estimates-change-answer",
    ),
    path(
        "houses/<uuid:code>/assessment/gates/<slug:hazard>/<str:key>/remove/",
        assessment_gates.remove_answer,
        name="estimates-remove-answer",
    ),
    path(
        "houses/<uuid:code>/assessment/releases/<slug:hazard>/",
        assessment_gates.release_gate,
        name="estimates-release-gate",
    ),
    path("houses/<uuid:code>/assessment/photos/", assessment_photos.add_photo, name="estimates-add-photo"),
    path(
        "houses/<uuid:code>/assessment/photos/<str:key>/remove/",
        assessment_photos.remove_photo,
        name="estimates-remove-photo",
    ),
    path(
        "houses/<uuid:code>/assessment/photos/<str:sha256>.jpg",
        assessment_photos.show_photo,
        name="estimates-show-photo",
    ),
    path("houses/<uuid:code>/estimate/", estimate.show_estimate, name="estimates-show-estimate"),
    path("houses/<uuid:code>/estimate/try/", estimate.try_estimate, name="estimates-try-estimate"),
    path("houses/<uuid:code>/estimate/keep/", estimate.keep_estimate, name="estimates-keep-estimate"),
    path("houses/<uuid:code>/estimate/freeze/", estimate.freeze_estimate, name="estimates-freeze-estimate"),
    path("houses/<uuid:code>/revisions/", estimate_revisions.list_revisions, name="estimates-list-revisions"),
    path(
        "houses/<uuid:code>/revisions/compare/",
        estimate_revisions.compare_revisions,
        name="estimates-compare-revisions",
    ),
    path(
        "houses/<uuid:code>/revisions/<int:number>/", estimate_revisions.show_revision, name="estimates-show-revision"
    ),
    path(
        "houses/<uuid:code>/revisions/<int:number>/release/",
        estimate_revisions.release_floor,
        name="estimates-release-floor",
    ),
    path("price-books/", price_books.list_price_books, name="estimates-list-price-books"),
    path("price-books/<uuid:code>/", price_books.show_price_book, name="estimates-show-price-book"),
    path("price-books/<uuid:code>/try/", price_books.try_price_book, name="estimates-try-price-book"),
    path("price-books/<slug:name>/next/", price_books.new_price_book, name="estimates-new-price-book"),
    path("price-books/<slug:name>/publish/", price_books.publish_price_book, name="estimates-publish-price-book"),
]
