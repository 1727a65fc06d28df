"""URLs of the office side of proposals and of the template they are written from."""

from django.urls import path

from estimates.views import proposal, proposal_acts, proposal_check, proposal_template

urlpatterns = [
    path("proposals/", proposal.list_proposals, name="estimates-list-proposals"),
    path("proposals/<uuid:code>/", proposal.show_proposal, name="estimates-show-proposal"),
    path("proposals/<uuid:code>/papers/<str:name>", proposal.download_paper, name="estimates-download-paper"),
    path("proposals/<uuid:code>/check/", proposal_check.check_proposal, name="estimates-check-proposal"),
    path("proposals/<uuid:code>/withdraw/", proposal_acts.withdraw_proposal, name="estimates-withdraw-proposal"),
    path("proposals/<uuid:code>/link/renew/", proposal_acts.renew_link, name="estimates-renew-link"),
    path("proposals/<uuid:code>/link/close/", proposal_acts.close_link, name="estimates-close-link"),
    path(
        "proposals/<uuid:code>/questions/<uuid:question>/",
        proposal_acts.answer_question,
        name="estimates-answer-question",
    ),
    path("houses/<uuid:code>/proposal/", proposal_check.draft_proposal, name="estimates-draft-proposal"),
    path("templates/", proposal_template.list_templates, name="estimates-list-templates"),
    path("templates/restore/", proposal_template.restore_template, name="estimates-restore-template"),
    path(
        "templates/<int:number>/proposal.docx", proposal_template.download_template, name="estimates-download-template"
    ),
]
