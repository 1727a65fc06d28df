import uuid
from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import estimates.models.money_field


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0001_jobs_crews_and_entries"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Account",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.CharField(max_length=40, unique=True)),
                ("code", models.CharField(max_length=20, unique=True)),
                ("name", models.CharField(max_length=80)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("asset", "Asset"),
                            ("liability", "Liability"),
                            ("income", "Income"),
                            ("expense", "Expense"),
                        ],
                        max_length=20,
                    ),
                ),
            ],
            options={
                "ordering": ("code",),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["asset", "liability", "income", "expense"])),
                        name="account_kind_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("key", ""), ("code", ""), ("name", ""), _connector="OR"), _negated=True
                        ),
                        name="account_named",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Entry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("number", models.PositiveIntegerField(unique=True)),
                ("on", models.DateField()),
                ("memo", models.CharField(max_length=200)),
                ("document", models.CharField(blank=True, max_length=40)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="ledger_entries",
                        to="jobs.job",
                    ),
                ),
            ],
            options={
                "verbose_name": "ledger entry",
                "verbose_name_plural": "ledger entries",
                "ordering": ("number",),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="CostItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("key", models.UUIDField(unique=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("equipment", "Equipment"),
                            ("subcontract", "Subcontract"),
                            ("material", "Material delivered"),
                            ("travel", "Travel"),
                            ("disposal", "Waste and disposal"),
                            ("other", "Other"),
                        ],
                        max_length=20,
                    ),
                ),
                ("words", models.CharField(max_length=200)),
                ("amount", estimates.models.money_field.MoneyField(db_column="amount_cents")),
                ("on", models.DateField()),
                ("call_back", models.BooleanField(default=False)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="cost_items", to="jobs.job"
                    ),
                ),
                (
                    "wall",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="cost_items",
                        to="jobs.jobwall",
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.entry"),
                ),
            ],
            options={
                "verbose_name": "cost",
                "ordering": ("on", "id"),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="Invoice",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("key", models.UUIDField(unique=True)),
                ("number", models.CharField(max_length=20, unique=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("deposit", "Deposit invoice"),
                            ("progress", "Progress invoice"),
                            ("change", "Change-order invoice"),
                            ("final", "Final invoice"),
                            ("credit", "Credit note"),
                        ],
                        max_length=20,
                    ),
                ),
                ("issued_on", models.DateField()),
                ("due_on", models.DateField()),
                ("net", estimates.models.money_field.MoneyField(db_column="net_cents")),
                ("tax", estimates.models.money_field.MoneyField(db_column="tax_cents")),
                (
                    "taxable",
                    estimates.models.money_field.MoneyField(db_column="taxable_cents", default=Decimal("0.00")),
                ),
                ("tax_rate", models.DecimalField(decimal_places=6, default=Decimal("0"), max_digits=7)),
                ("tax_why", models.CharField(blank=True, max_length=800)),
                (
                    "discounts",
                    estimates.models.money_field.MoneyField(db_column="discounts_cents", default=Decimal("0.00")),
                ),
                (
                    "retained",
                    estimates.models.money_field.MoneyField(db_column="retained_cents", default=Decimal("0.00")),
                ),
                (
                    "released",
                    estimates.models.money_field.MoneyField(db_column="released_cents", default=Decimal("0.00")),
                ),
                (
                    "applied",
                    estimates.models.money_field.MoneyField(db_column="applied_cents", default=Decimal("0.00")),
                ),
                ("rebill", models.BooleanField(default=False)),
                ("reason", models.CharField(blank=True, max_length=500)),
                ("issued_at", models.DateTimeField()),
                (
                    "change",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="invoices",
                        to="jobs.changeorder",
                    ),
                ),
                (
                    "credits",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="credit_notes",
                        to="jobs.invoice",
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="jobs.entry",
                    ),
                ),
                (
                    "issued_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="invoices", to="jobs.job"
                    ),
                ),
                (
                    "paper",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="jobs.jobpaper",
                    ),
                ),
            ],
            options={
                "verbose_name": "invoice",
                "ordering": ("issued_at", "id"),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="InvoiceLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveSmallIntegerField()),
                ("text", models.CharField(max_length=300)),
                ("quantity", models.DecimalField(decimal_places=3, max_digits=12)),
                ("unit", models.CharField(max_length=20)),
                ("net", estimates.models.money_field.MoneyField(db_column="net_cents")),
                ("tax", estimates.models.money_field.MoneyField(db_column="tax_cents", default=Decimal("0.00"))),
                (
                    "taxable",
                    estimates.models.money_field.MoneyField(db_column="taxable_cents", default=Decimal("0.00")),
                ),
                (
                    "invoice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="jobs.invoice"
                    ),
                ),
            ],
            options={
                "ordering": ("invoice", "position"),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="Payment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("key", models.UUIDField(unique=True)),
                ("number", models.CharField(max_length=20, unique=True)),
                ("amount", estimates.models.money_field.MoneyField(db_column="amount_cents")),
                ("received_on", models.DateField()),
                (
                    "method",
                    models.CharField(
                        choices=[("check", "Check"), ("transfer", "Bank transfer"), ("card", "Card"), ("cash", "Cash")],
                        max_length=20,
                    ),
                ),
                (
                    "payer",
                    models.CharField(
                        choices=[
                            ("homeowner", "Homeowner"),
                            ("programme", "Incentive programme"),
                            ("lender", "Lender"),
                        ],
                        default="homeowner",
                        max_length=20,
                    ),
                ),
                ("reference", models.CharField(blank=True, max_length=80)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.entry"),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="payments", to="jobs.job"
                    ),
                ),
            ],
            options={
                "ordering": ("received_on", "id"),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="Allocation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("amount", estimates.models.money_field.MoneyField(db_column="amount_cents")),
                ("on", models.DateField()),
                (
                    "entry",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.entry"),
                ),
                (
                    "invoice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="allocations", to="jobs.invoice"
                    ),
                ),
                (
                    "payment",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="allocations",
                        to="jobs.payment",
                    ),
                ),
            ],
            options={
                "ordering": ("on", "id"),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="Period",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("month", models.DateField(unique=True)),
                ("closed_at", models.DateTimeField()),
                ("entries", models.PositiveIntegerField(default=0)),
                ("debit", estimates.models.money_field.MoneyField(db_column="debit_cents", default=Decimal("0.00"))),
                (
                    "closed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "verbose_name": "closed month",
                "ordering": ("-month",),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="Posting",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("debit", estimates.models.money_field.MoneyField(db_column="debit_cents", default=Decimal("0.00"))),
                ("credit", estimates.models.money_field.MoneyField(db_column="credit_cents", default=Decimal("0.00"))),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="postings", to="jobs.account"
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="postings", to="jobs.entry"
                    ),
                ),
            ],
            options={
                "ordering": ("entry", "id"),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="Refund",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("key", models.UUIDField(unique=True)),
                ("number", models.CharField(max_length=20, unique=True)),
                ("amount", estimates.models.money_field.MoneyField(db_column="amount_cents")),
                ("paid_on", models.DateField()),
                (
                    "method",
                    models.CharField(
                        choices=[("check", "Check"), ("transfer", "Bank transfer"), ("card", "Card"), ("cash", "Cash")],
                        max_length=20,
                    ),
                ),
                ("reference", models.CharField(blank=True, max_length=80)),
                ("reason", models.CharField(max_length=500)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.entry"),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="refunds", to="jobs.job"
                    ),
                ),
            ],
            options={
                "ordering": ("paid_on", "id"),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.CreateModel(
            name="TaxCertificate",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("holds", models.BooleanField()),
                ("number", models.CharField(blank=True, max_length=60)),
                ("received_on", models.DateField()),
                ("note", models.CharField(blank=True, max_length=300)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="tax_certificates", to="jobs.job"
                    ),
                ),
            ],
            options={
                "verbose_name": "tax certificate",
                "ordering": ("at", "id"),
                "abstract": False,
                "base_manager_name": "objects",
            },
        ),
        migrations.AddIndex(
            model_name="entry",
            index=models.Index(fields=["on", "number"], name="ledger_entry_by_day"),
        ),
        migrations.AddConstraint(
            model_name="costitem",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("kind__in", ["equipment", "subcontract", "material", "travel", "disposal", "other"])
                ),
                name="cost_item_kind_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="costitem",
            constraint=models.CheckConstraint(
                condition=models.Q(("amount", Decimal("0")), _negated=True), name="cost_item_not_nothing"
            ),
        ),
        migrations.AddConstraint(
            model_name="costitem",
            constraint=models.CheckConstraint(
                condition=models.Q(("words", ""), _negated=True), name="cost_item_has_words"
            ),
        ),
        migrations.AddIndex(
            model_name="invoice",
            index=models.Index(fields=["job", "kind"], name="invoice_by_job"),
        ),
        migrations.AddIndex(
            model_name="invoice",
            index=models.Index(fields=["due_on"], name="invoice_by_due_day"),
        ),
        migrations.AddConstraint(
            model_name="invoice",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["deposit", "progress", "change", "final", "credit"])),
                name="invoice_kind_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="invoice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("applied__gte", Decimal("0.00")),
                    ("released__gte", Decimal("0.00")),
                    ("retained__gte", Decimal("0.00")),
                ),
                name="invoice_amounts_not_negative",
            ),
        ),
        migrations.AddConstraint(
            model_name="invoice",
            constraint=models.CheckConstraint(
                condition=models.Q(("due_on__gte", models.F("issued_on"))), name="invoice_due_after_issue"
            ),
        ),
        migrations.AddConstraint(
            model_name="invoice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("credits__isnull", False), ("kind", "credit"), models.Q(("reason", ""), _negated=True)),
                    models.Q(
                        models.Q(("kind", "credit"), _negated=True),
                        ("applied", Decimal("0.00")),
                        ("credits__isnull", True),
                        ("rebill", False),
                    ),
                    _connector="OR",
                ),
                name="invoice_credit_names_its_invoice",
            ),
        ),
        migrations.AddConstraint(
            model_name="invoice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("change__isnull", False), ("kind", "change")),
                    models.Q(models.Q(("kind", "change"), _negated=True), ("change__isnull", True)),
                    _connector="OR",
                ),
                name="invoice_change_named",
            ),
        ),
        migrations.AddConstraint(
            model_name="invoiceline",
            constraint=models.UniqueConstraint(fields=("invoice", "position"), name="invoice_line_position_once"),
        ),
        migrations.AddConstraint(
            model_name="invoiceline",
            constraint=models.CheckConstraint(
                condition=models.Q(("text", ""), _negated=True), name="invoice_line_has_words"
            ),
        ),
        migrations.AddConstraint(
            model_name="payment",
            constraint=models.CheckConstraint(
                condition=models.Q(("amount__gt", Decimal("0"))), name="payment_above_nothing"
            ),
        ),
        migrations.AddConstraint(
            model_name="payment",
            constraint=models.CheckConstraint(
                condition=models.Q(("method__in", ["check", "transfer", "card", "cash"])), name="payment_method_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="payment",
            constraint=models.CheckConstraint(
                condition=models.Q(("payer__in", ["homeowner", "programme", "lender"])), name="payment_payer_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="allocation",
            constraint=models.CheckConstraint(
                condition=models.Q(("amount__gt", Decimal("0"))), name="allocation_above_nothing"
            ),
        ),
        migrations.AddConstraint(
            model_name="period",
            constraint=models.CheckConstraint(
                condition=models.Q(("debit__gte", Decimal("0"))), name="period_debit_not_negative"
            ),
        ),
        migrations.AddConstraint(
            model_name="posting",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("credit", Decimal("0")), ("debit__gt", Decimal("0"))),
                    models.Q(("credit__gt", Decimal("0")), ("debit", Decimal("0"))),
                    _connector="OR",
                ),
                name="posting_debit_or_credit",
            ),
        ),
        migrations.AddConstraint(
            model_name="refund",
            constraint=models.CheckConstraint(
                condition=models.Q(("amount__gt", Decimal("0"))), name="refund_above_nothing"
            ),
        ),
        migrations.AddConstraint(
            model_name="refund",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True), name="refund_with_reason"
            ),
        ),
        migrations.AddConstraint(
            model_name="refund",
            constraint=models.CheckConstraint(
                condition=models.Q(("method__in", ["check", "transfer", "card", "cash"])), name="refund_method_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="taxcertificate",
            constraint=models.CheckConstraint(
                condition=models.Q(("holds", False), models.Q(("number", ""), _negated=True), _connector="OR"),
                name="tax_certificate_numbered",
            ),
        ),
    ]
