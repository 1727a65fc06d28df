"""URLs of the money of jobs."""

from django.urls import path

from jobs.views import money, money_acts, money_homeowner

urlpatterns = [
    path("money/", money.show_desk, name="jobs-show-money-desk"),
    path("money/months/", money.show_months, name="jobs-show-months"),
    path("money/months/close/", money_acts.close_month, name="jobs-close-month"),
    path("money/houses/<uuid:code>/statement/", money.show_statement, name="jobs-show-statement"),
    path("money/invoices/<uuid:code>/credit/", money_acts.credit_invoice, name="jobs-credit-invoice"),
    path("money/invoices/<uuid:code>/<slug:kind>/", money.download_invoice, name="jobs-download-invoice"),
    path("money/jobs/<uuid:code>/", money.show_job, name="jobs-show-money"),
    path("money/jobs/<uuid:code>/costs/", money.show_costs, name="jobs-show-costs"),
    path("money/jobs/<uuid:code>/costs/new/", money_acts.add_cost, name="jobs-add-cost"),
    path("money/jobs/<uuid:code>/costs/post/", money_acts.post_costs, name="jobs-post-costs"),
    path("money/jobs/<uuid:code>/invoice/<slug:kind>/", money_acts.issue_invoice, name="jobs-issue-invoice"),
    path("money/jobs/<uuid:code>/payment/", money_acts.record_payment, name="jobs-record-payment"),
    path("money/jobs/<uuid:code>/refund/", money_acts.pay_refund, name="jobs-pay-refund"),
    path("money/jobs/<uuid:code>/credit/", money_acts.apply_credit, name="jobs-apply-credit"),
    path("money/jobs/<uuid:code>/settle/", money_acts.settle_cancellation, name="jobs-settle-cancellation"),
    path("money/jobs/<uuid:code>/certificate/", money_acts.record_certificate, name="jobs-record-tax-certificate"),
    path(
        "yours/<str:token>/invoices/<uuid:invoice>/<slug:kind>/",
        money_homeowner.download_yours,
        name="jobs-download-your-invoice",
    ),
]
