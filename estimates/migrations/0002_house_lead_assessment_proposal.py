# Written by makemigrations, then every constraint moved into its CreateModel: added one by one, SQLite would copy each
# table as many times (19 s instead of 1 s).

import uuid
from decimal import Decimal

import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import django.db.models.lookups
from django.conf import settings
from django.db import migrations, models

import estimates.models.money_field


class Migration(migrations.Migration):
    dependencies = [
        ("estimates", "0001_ground"),
    ]

    operations = [
        migrations.AddField(
            model_name="house",
            name="county",
            field=models.CharField(blank=True, default="", max_length=60),
        ),
        migrations.AlterField(
            model_name="house",
            name="customer_name",
            field=models.CharField(max_length=80),
        ),
        migrations.AlterField(
            model_name="house",
            name="name",
            field=models.CharField(max_length=80),
        ),
        migrations.AlterField(
            model_name="house",
            name="postal_code",
            field=models.CharField(
                blank=True,
                max_length=10,
                validators=[
                    django.core.validators.RegexValidator(
                        "^\\d{5}(-\\d{4})?$", "Enter five digits, or five, a hyphen and four."
                    )
                ],
            ),
        ),
        migrations.AlterField(
            model_name="house",
            name="reference",
            field=models.CharField(
                max_length=40,
                unique=True,
                validators=[
                    django.core.validators.RegexValidator(
                        "^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}\\Z",
                        "Enter 1-40 letters, digits, dots, dashes or underscores, beginning with a letter or digit.",
                    )
                ],
            ),
        ),
        migrations.CreateModel(
            name="Assessment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("number", models.PositiveIntegerField()),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "status",
                    models.CharField(
                        choices=[("open", "Open"), ("completed", "Completed")], default="open", max_length=20
                    ),
                ),
                ("sha256", models.CharField(max_length=64)),
                ("created_at", models.DateTimeField()),
                ("updated_at", models.DateTimeField()),
                ("completed_at", models.DateTimeField(blank=True, null=True)),
                ("schema", models.CharField(blank=True, max_length=200)),
                ("priced_on", models.DateField(null=True)),
                ("in_service_on", models.DateField(null=True)),
                ("year_built", models.BigIntegerField()),
                ("storeys", models.BigIntegerField()),
                ("floor_area_ft2", models.FloatField()),
                ("volume_ft3", models.FloatField()),
                ("bedrooms", models.BigIntegerField()),
                ("occupants", models.BigIntegerField(null=True)),
                ("ceiling_height_ft", models.FloatField(null=True)),
                ("shelter_class", models.BigIntegerField()),
                ("indoor_f", models.FloatField()),
                ("has_ducts", models.BooleanField()),
                ("has_fireplace", models.BooleanField()),
                ("federally_assisted", models.BooleanField()),
                ("capital_improvement", models.BooleanField()),
                ("blower_door_baseline_pa", models.FloatField(null=True)),
                ("blower_door_indoor_f", models.FloatField(null=True)),
                ("blower_door_outdoor_f", models.FloatField(null=True)),
                ("household_income_share", models.FloatField(null=True)),
                ("household_approved", models.JSONField(blank=True, null=True)),
                ("household_documents", models.JSONField(blank=True, null=True)),
                ("heating_fuel", models.CharField(max_length=60)),
                ("heating_efficiency", models.FloatField()),
                ("heating_price_per_unit", models.FloatField()),
                ("heating_yearly_units", models.FloatField(null=True)),
                ("climate_place", models.CharField(blank=True, max_length=80)),
                ("climate_source", models.CharField(blank=True, max_length=200)),
                ("climate_heating_degree_days", models.FloatField()),
                ("climate_base_f", models.FloatField()),
                ("climate_season_mean_f", models.FloatField()),
                ("climate_season_wind_mph", models.FloatField()),
                ("climate_design_f", models.FloatField(null=True)),
                ("climate_weather_factor", models.FloatField(null=True)),
                ("climate_altitude_ft", models.FloatField()),
                (
                    "completed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "created_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "house",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="assessments", to="estimates.house"
                    ),
                ),
                (
                    "updated_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("house", "-number"),
                "constraints": [
                    models.UniqueConstraint(fields=("house", "number"), name="assessment_number_once_per_house"),
                    models.UniqueConstraint(
                        condition=models.Q(("status", "open")), fields=("house",), name="assessment_one_open_per_house"
                    ),
                    models.CheckConstraint(condition=models.Q(("number__gte", 1)), name="assessment_number_from_one"),
                    models.CheckConstraint(condition=models.Q(("version__gte", 1)), name="assessment_version_from_one"),
                    models.CheckConstraint(
                        condition=models.Q(("status__in", ["open", "completed"])), name="assessment_status_known"
                    ),
                    models.CheckConstraint(
                        condition=django.db.models.lookups.Exact(django.db.models.functions.text.Length("sha256"), 64),
                        name="assessment_sha256_whole",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("completed_at__isnull", True), ("completed_by__isnull", True), ("status", "open")
                            ),
                            models.Q(
                                ("completed_at__isnull", False),
                                ("completed_by__isnull", False),
                                ("status", "completed"),
                            ),
                            _connector="OR",
                        ),
                        name="assessment_completed_by_somebody",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("year_built__gte", 1600), ("year_built__lte", 2100)),
                        name="assessment_year_built_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("storeys__gte", 1), ("storeys__lte", 3)), name="assessment_storeys_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("floor_area_ft2__lte", 100000), ("floor_area_ft2__gt", 0)),
                        name="assessment_floor_area_ft2_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("volume_ft3__lte", 2000000), ("volume_ft3__gt", 0)),
                        name="assessment_volume_ft3_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("bedrooms__gte", 0), ("bedrooms__lte", 30)), name="assessment_bedrooms_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("occupants__gte", 0), ("occupants__lte", 100)),
                        name="assessment_occupants_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("ceiling_height_ft__gte", 5), ("ceiling_height_ft__lte", 60)),
                        name="assessment_ceiling_height_ft_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("shelter_class__gte", 1), ("shelter_class__lte", 5)),
                        name="assessment_shelter_class_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("indoor_f__gte", 40), ("indoor_f__lte", 90)),
                        name="assessment_indoor_f_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("blower_door_baseline_pa__gte", -20), ("blower_door_baseline_pa__lte", 20)),
                        name="assessment_blower_door_baseline_pa_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("blower_door_indoor_f__gte", -40), ("blower_door_indoor_f__lte", 130)),
                        name="assessment_blower_door_indoor_f_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("blower_door_outdoor_f__gte", -60), ("blower_door_outdoor_f__lte", 130)),
                        name="assessment_blower_door_outdoor_f_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("household_income_share__gte", 0), ("household_income_share__lte", 100)),
                        name="assessment_household_income_share_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("heating_fuel__in", ["natural_gas", "propane", "heating_oil", "electricity"])
                        ),
                        name="assessment_heating_fuel_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("heating_efficiency__lte", 6), ("heating_efficiency__gt", 0)),
                        name="assessment_heating_efficiency_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("heating_price_per_unit__lte", 100), ("heating_price_per_unit__gt", 0)),
                        name="assessment_heating_price_per_unit_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("heating_yearly_units__lte", 1000000), ("heating_yearly_units__gt", 0)),
                        name="assessment_heating_yearly_units_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("climate_place", ""), _negated=True), name="assessment_climate_place_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("climate_source", ""), _negated=True), name="assessment_climate_source_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("climate_heating_degree_days__gte", 0), ("climate_heating_degree_days__lte", 25000)
                        ),
                        name="assessment_climate_heating_degree_days_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("climate_base_f__gte", 30), ("climate_base_f__lte", 75)),
                        name="assessment_climate_base_f_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("climate_season_mean_f__gte", -40), ("climate_season_mean_f__lte", 75)),
                        name="assessment_climate_season_mean_f_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("climate_season_wind_mph__gte", 0), ("climate_season_wind_mph__lte", 60)),
                        name="assessment_climate_season_wind_mph_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("climate_design_f__gte", -60), ("climate_design_f__lte", 60)),
                        name="assessment_climate_design_f_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("climate_weather_factor__gte", 0.1), ("climate_weather_factor__lte", 2)),
                        name="assessment_climate_weather_factor_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("climate_altitude_ft__gte", -1500), ("climate_altitude_ft__lte", 15000)),
                        name="assessment_climate_altitude_ft_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("blower_door_baseline_pa__isnull", True),
                                ("blower_door_indoor_f__isnull", True),
                                ("blower_door_outdoor_f__isnull", True),
                            ),
                            models.Q(
                                ("blower_door_baseline_pa__isnull", False),
                                ("blower_door_indoor_f__isnull", False),
                                ("blower_door_outdoor_f__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="assessment_blower_door_whole_or_none",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("household_income_share__isnull", True),
                                ("household_approved__isnull", True),
                                ("household_documents__isnull", True),
                            ),
                            models.Q(("household_approved__isnull", False), ("household_documents__isnull", False)),
                            _connector="OR",
                        ),
                        name="assessment_household_whole_or_none",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Attic",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("name", models.CharField(blank=True, max_length=80)),
                ("area_ft2", models.FloatField()),
                ("existing_material", models.CharField(max_length=60, null=True)),
                ("existing_depth_in", models.FloatField()),
                ("target_r", models.FloatField()),
                ("hatch_ft2", models.FloatField()),
                ("soffit_bays", models.BigIntegerField()),
                ("dam_ft", models.FloatField()),
                ("vented", models.BooleanField()),
                ("net_free_in2", models.FloatField(null=True)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="attics", to="estimates.assessment"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="attic_key_held"),
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="attic_name_held"),
                    models.CheckConstraint(
                        condition=models.Q(("area_ft2__lte", 100000), ("area_ft2__gt", 0)), name="attic_area_ft2_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "existing_material__in",
                                ["glass_batt", "rock_wool_batt", "loose_cellulose", "loose_glass", "loose_rock_wool"],
                            )
                        ),
                        name="attic_existing_material_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("existing_depth_in__gte", 0), ("existing_depth_in__lte", 48)),
                        name="attic_existing_depth_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("target_r__lte", 120), ("target_r__gt", 0)), name="attic_target_r_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("hatch_ft2__gte", 0), ("hatch_ft2__lte", 100)), name="attic_hatch_ft2_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("soffit_bays__gte", 0), ("soffit_bays__lte", 2000)),
                        name="attic_soffit_bays_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("dam_ft__gte", 0), ("dam_ft__lte", 2000)), name="attic_dam_ft_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("net_free_in2__gte", 0), ("net_free_in2__lte", 100000)),
                        name="attic_net_free_in2_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="attic_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="attic_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Bill",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("fuel", models.CharField(max_length=60)),
                ("first", models.DateField()),
                ("last", models.DateField()),
                ("units", models.FloatField()),
                ("dollars", models.FloatField(null=True)),
                ("estimated", models.BooleanField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="bills", to="estimates.assessment"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("fuel__in", ["natural_gas", "propane", "heating_oil", "electricity"])),
                        name="bill_fuel_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("units__gte", 0), ("units__lte", 1000000)), name="bill_units_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("dollars__gte", 0), ("dollars__lte", 1000000)), name="bill_dollars_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="bill_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="CombustionRound",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("round", models.CharField(max_length=60)),
                ("on", models.DateField()),
                ("gas_leak_found", models.BooleanField(null=True)),
                ("ambient_co_ppm", models.FloatField(null=True)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="combustion",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("round__in", ["test_in", "end_of_day", "test_out"])),
                        name="combustionround_round_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("ambient_co_ppm__gte", 0), ("ambient_co_ppm__lte", 100000)),
                        name="combustionround_ambient_co_ppm_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="combustionround_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Appliance",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("name", models.CharField(blank=True, max_length=80)),
                ("vent", models.CharField(max_length=60)),
                ("spillage_s", models.FloatField(null=True)),
                ("suction_pa", models.FloatField(null=True)),
                ("flue_co_ppm", models.FloatField(null=True)),
                ("restored", models.BooleanField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="appliances",
                        to="estimates.combustionround",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="appliance_name_held"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "vent__in",
                                [
                                    "natural_draft_water_heater_alone",
                                    "natural_draft_with_common_vent",
                                    "natural_draft_furnace_or_boiler_alone",
                                    "fan_assisted",
                                    "sealed_combustion",
                                    "no_vent",
                                ],
                            )
                        ),
                        name="appliance_vent_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("spillage_s__gte", 0), ("spillage_s__lte", 3600)),
                        name="appliance_spillage_s_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("suction_pa__gte", -200), ("suction_pa__lte", 200)),
                        name="appliance_suction_pa_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("flue_co_ppm__gte", 0), ("flue_co_ppm__lte", 100000)),
                        name="appliance_flue_co_ppm_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="appliance_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Complaint",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("room", models.CharField(blank=True, max_length=80)),
                ("words", models.CharField(blank=True, max_length=400)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="complaints",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("room", ""), _negated=True), name="complaint_room_held"),
                    models.CheckConstraint(
                        condition=models.Q(("words", ""), _negated=True), name="complaint_words_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="complaint_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="EarlierIncentive",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("programme", models.CharField(blank=True, max_length=80)),
                ("dollars", models.FloatField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="household_earlier",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("programme", ""), _negated=True), name="earlierincentive_programme_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("dollars__gte", 0), ("dollars__lte", 1000000)),
                        name="earlierincentive_dollars_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="earlierincentive_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Exhaust",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("room", models.CharField(max_length=60)),
                ("measured_cfm", models.FloatField()),
                ("openable_window", models.BooleanField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="exhausts",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("room__in", ["kitchen", "bath"])), name="exhaust_room_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("measured_cfm__gte", 0), ("measured_cfm__lte", 5000)),
                        name="exhaust_measured_cfm_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="exhaust_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="GateAnswer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("hazard", models.CharField(blank=True, max_length=40)),
                ("verdict", models.CharField(max_length=60)),
                ("note", models.CharField(blank=True, max_length=1000)),
                ("answered_on", models.DateField()),
                ("parts", models.JSONField(blank=True, null=True)),
                ("photos", models.JSONField(blank=True)),
                ("sample", models.CharField(blank=True, max_length=200)),
                ("verifier", models.CharField(blank=True, max_length=120)),
                ("how", models.CharField(blank=True, max_length=200)),
                ("before_phase", models.CharField(blank=True, max_length=80)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="gate_answers",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("hazard", ""), _negated=True), name="gateanswer_hazard_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("verdict__in", ["stop", "proceed_with_controls", "clear", "not_yet_known"])
                        ),
                        name="gateanswer_verdict_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="gateanswer_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="GateRelease",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("hazard", models.CharField(blank=True, max_length=40)),
                ("released_on", models.DateField()),
                ("by", models.CharField(blank=True, max_length=120)),
                ("reason", models.CharField(blank=True, max_length=500)),
                ("parts", models.JSONField(blank=True, null=True)),
                ("sample", models.CharField(blank=True, max_length=200)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="gate_releases",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("hazard", ""), _negated=True), name="gaterelease_hazard_held"
                    ),
                    models.CheckConstraint(condition=models.Q(("by", ""), _negated=True), name="gaterelease_by_held"),
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True), name="gaterelease_reason_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="gaterelease_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="LeadSource",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                (
                    "name",
                    models.CharField(
                        error_messages={"blank": "Enter the name of the source."}, max_length=80, unique=True
                    ),
                ),
                ("cost_per_lead", estimates.models.money_field.MoneyField(db_column="cost_per_lead_cents")),
            ],
            options={
                "ordering": ("name",),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("cost_per_lead__gte", Decimal("0"))),
                        name="lead_source_cost_not_negative",
                        violation_error_message="Enter a cost per lead of 0 or more.",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="LeakSite",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("name", models.CharField(blank=True, max_length=80)),
                ("kind", models.CharField(max_length=60)),
                ("quantity", models.FloatField()),
                ("component_share", models.FloatField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="leak_sites",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="leaksite_key_held"),
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="leaksite_name_held"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                [
                                    "top_plate",
                                    "chimney_chase",
                                    "plumbing_stack",
                                    "recessed_light",
                                    "attic_hatch",
                                    "rim_joist",
                                    "sill_plate",
                                    "window_trim",
                                    "duct_boot",
                                ],
                            )
                        ),
                        name="leaksite_kind_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("quantity__lte", 10000), ("quantity__gt", 0)), name="leaksite_quantity_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("component_share__gte", 0), ("component_share__lte", 1)),
                        name="leaksite_component_share_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="leaksite_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="leaksite_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Photo",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("caption", models.CharField(blank=True, max_length=200)),
                ("taken_on", models.DateField()),
                ("sha256", models.CharField(blank=True, max_length=200)),
                ("part", models.CharField(blank=True, max_length=40)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="photos", to="estimates.assessment"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="photo_key_held"),
                    models.CheckConstraint(
                        condition=models.Q(("caption", ""), _negated=True), name="photo_caption_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="photo_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="photo_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="PressurePoint",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("pressure_pa", models.FloatField()),
                ("flow_cfm", models.FloatField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="blower_door_points",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("pressure_pa__lte", 200), ("pressure_pa__gt", 0)),
                        name="pressurepoint_pressure_pa_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("flow_cfm__lte", 50000), ("flow_cfm__gt", 0)),
                        name="pressurepoint_flow_cfm_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="pressurepoint_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="PriceBookVersion",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("name", models.CharField(max_length=40)),
                ("version", models.PositiveIntegerField()),
                ("effective_from", models.DateField()),
                ("content", models.TextField()),
                ("sha256", models.CharField(max_length=64)),
                ("published_at", models.DateTimeField()),
                (
                    "published_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "verbose_name": "price book",
                "ordering": ("name", "-version"),
                "abstract": False,
                "base_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(fields=("name", "version"), name="price_book_version_once"),
                    models.UniqueConstraint(fields=("name", "effective_from"), name="price_book_day_once"),
                    models.CheckConstraint(condition=models.Q(("version__gte", 1)), name="price_book_version_from_one"),
                    models.CheckConstraint(
                        condition=django.db.models.lookups.Exact(django.db.models.functions.text.Length("sha256"), 64),
                        name="price_book_sha256_whole",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Proposal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("number", models.CharField(max_length=20, unique=True)),
                ("revision_number", models.PositiveIntegerField()),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("draft", "Draft"),
                            ("issued", "Issued"),
                            ("accepted", "Accepted"),
                            ("declined", "Declined"),
                            ("cancelled", "Cancelled"),
                            ("withdrawn", "Withdrawn"),
                            ("expired", "Expired"),
                        ],
                        default="draft",
                        max_length=20,
                    ),
                ),
                ("created_at", models.DateTimeField()),
                ("issued_at", models.DateTimeField(blank=True, null=True)),
                ("valid_until", models.DateField(blank=True, null=True)),
                ("document_sha256", models.CharField(blank=True, max_length=64)),
                ("document_name", models.CharField(blank=True, max_length=120)),
                ("accepted_at", models.DateTimeField(blank=True, null=True)),
                ("accepted_option", models.CharField(blank=True, max_length=40)),
                ("accepted_name", models.CharField(blank=True, max_length=120)),
                ("accepted_sha256", models.CharField(blank=True, max_length=64)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                ("decline_reason", models.CharField(blank=True, max_length=500)),
                ("end_reason", models.CharField(blank=True, max_length=500)),
                ("floor_reason", models.CharField(blank=True, max_length=500)),
                ("floor_least_margin", models.DecimalField(blank=True, decimal_places=4, max_digits=5, null=True)),
                (
                    "created_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "floor_released_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "house",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="proposals", to="estimates.house"
                    ),
                ),
                (
                    "issued_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="proposals",
                        to="estimates.estimaterevision",
                    ),
                ),
            ],
            options={
                "ordering": ("-created_at", "-id"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "status__in",
                                ["draft", "issued", "accepted", "declined", "cancelled", "withdrawn", "expired"],
                            )
                        ),
                        name="proposal_status_known",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("status", "accepted")),
                        fields=("house",),
                        name="proposal_one_accepted_per_house",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("status__in", ["draft", "issued"])),
                        fields=("revision",),
                        name="proposal_one_open_per_revision",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("status", "draft"),
                                ("document_name", ""),
                                ("document_sha256", ""),
                                ("issued_at__isnull", True),
                                ("issued_by__isnull", True),
                                ("valid_until__isnull", True),
                            ),
                            models.Q(
                                ("status", "withdrawn"),
                                models.Q(
                                    models.Q(
                                        ("document_name", ""),
                                        ("document_sha256", ""),
                                        ("issued_at__isnull", True),
                                        ("issued_by__isnull", True),
                                        ("valid_until__isnull", True),
                                    ),
                                    models.Q(
                                        ("issued_at__isnull", False),
                                        ("issued_by__isnull", False),
                                        ("valid_until__isnull", False),
                                        django.db.models.lookups.Exact(
                                            django.db.models.functions.text.Length("document_sha256"), 64
                                        ),
                                        models.Q(("document_name", ""), _negated=True),
                                    ),
                                    _connector="OR",
                                ),
                            ),
                            models.Q(
                                models.Q(("status__in", ["draft", "withdrawn"]), _negated=True),
                                ("issued_at__isnull", False),
                                ("issued_by__isnull", False),
                                ("valid_until__isnull", False),
                                django.db.models.lookups.Exact(
                                    django.db.models.functions.text.Length("document_sha256"), 64
                                ),
                                models.Q(("document_name", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="proposal_document_whole",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("status__in", ["accepted", "cancelled"]),
                                ("accepted_at__isnull", False),
                                ("accepted_sha256", models.F("document_sha256")),
                                models.Q(
                                    models.Q(("accepted_option", ""), ("accepted_name", ""), _connector="OR"),
                                    _negated=True,
                                ),
                            ),
                            models.Q(
                                models.Q(("status__in", ["accepted", "cancelled"]), _negated=True),
                                ("accepted_at__isnull", True),
                                ("accepted_name", ""),
                                ("accepted_option", ""),
                                ("accepted_sha256", ""),
                            ),
                            _connector="OR",
                        ),
                        name="proposal_acceptance_whole",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("ended_at__isnull", True), ("status__in", ["draft", "issued", "accepted"])),
                            models.Q(
                                ("ended_at__isnull", False),
                                ("status__in", ["declined", "cancelled", "withdrawn", "expired"]),
                            ),
                            _connector="OR",
                        ),
                        name="proposal_end_has_a_time",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("floor_least_margin__isnull", True),
                                ("floor_reason", ""),
                                ("floor_released_by__isnull", True),
                            ),
                            models.Q(
                                ("floor_least_margin__isnull", False),
                                ("floor_released_by__isnull", False),
                                models.Q(("floor_reason", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="proposal_floor_release_whole",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="QuickWall",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("name", models.CharField(blank=True, max_length=80)),
                ("perimeter_ft", models.FloatField()),
                ("storeys", models.BigIntegerField()),
                ("storey_height_ft", models.FloatField()),
                ("window_share", models.FloatField()),
                ("framing_share", models.FloatField()),
                ("spacing_in", models.FloatField()),
                ("depth_in", models.FloatField()),
                ("cladding", models.CharField(max_length=60)),
                ("sheathing", models.CharField(max_length=60)),
                ("inside", models.CharField(max_length=60)),
                ("access", models.CharField(max_length=60)),
                ("existing_fill_material", models.CharField(max_length=60, null=True)),
                ("existing_fill_in_place_in", models.FloatField(null=True)),
                ("existing_fill_compressed_in", models.FloatField(null=True)),
                ("existing_fill_covered_share", models.FloatField(null=True)),
                ("existing_fill_condition", models.CharField(max_length=60, null=True)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="quick_walls",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="quickwall_key_held"),
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="quickwall_name_held"),
                    models.CheckConstraint(
                        condition=models.Q(("perimeter_ft__lte", 500), ("perimeter_ft__gt", 0)),
                        name="quickwall_perimeter_ft_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("storeys__gte", 1), ("storeys__lte", 3)), name="quickwall_storeys_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("storey_height_ft__lte", 20), ("storey_height_ft__gt", 2)),
                        name="quickwall_storey_height_ft_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("window_share__gte", 0), ("window_share__lte", 0.7)),
                        name="quickwall_window_share_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("framing_share__gte", 0), ("framing_share__lte", 0.6)),
                        name="quickwall_framing_share_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("spacing_in__gte", 4), ("spacing_in__lte", 96)),
                        name="quickwall_spacing_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("depth_in__gte", 0.5), ("depth_in__lte", 24)),
                        name="quickwall_depth_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "cladding__in",
                                [
                                    "wood_bevel",
                                    "wood_shingle",
                                    "asbestos_cement",
                                    "plywood_siding",
                                    "vinyl",
                                    "aluminium",
                                    "stucco",
                                    "brick_veneer",
                                ],
                            )
                        ),
                        name="quickwall_cladding_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("sheathing__in", ["none", "board", "plywood", "osb", "fiberboard"])),
                        name="quickwall_sheathing_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("inside__in", ["plaster_lath", "gypsum", "wood_panel", "none"])),
                        name="quickwall_inside_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("access__in", ["lift_cladding", "drill_cladding", "drill_inside"])),
                        name="quickwall_access_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "existing_fill_material__in",
                                ["glass_batt", "rock_wool_batt", "loose_cellulose", "loose_glass", "loose_rock_wool"],
                            )
                        ),
                        name="quickwall_existing_fill_material_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("existing_fill_in_place_in__lte", 24), ("existing_fill_in_place_in__gt", 0)
                        ),
                        name="quickwall_existing_fill_in_place_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("existing_fill_compressed_in__gte", 0), ("existing_fill_compressed_in__lte", 24)
                        ),
                        name="quickwall_existing_fill_compressed_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("existing_fill_covered_share__gte", 0), ("existing_fill_covered_share__lte", 1)
                        ),
                        name="quickwall_existing_fill_covered_share_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("existing_fill_condition__in", ["good", "fair", "poor"])),
                        name="quickwall_existing_fill_condition_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("existing_fill_material__isnull", True),
                                ("existing_fill_in_place_in__isnull", True),
                                ("existing_fill_compressed_in__isnull", True),
                                ("existing_fill_covered_share__isnull", True),
                                ("existing_fill_condition__isnull", True),
                            ),
                            models.Q(
                                ("existing_fill_material__isnull", False),
                                ("existing_fill_in_place_in__isnull", False),
                                ("existing_fill_compressed_in__isnull", False),
                                ("existing_fill_covered_share__isnull", False),
                                ("existing_fill_condition__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="quickwall_existing_fill_whole_or_none",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="quickwall_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="quickwall_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="ScopeOption",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("name", models.CharField(blank=True, max_length=80)),
                ("wall_ids", models.JSONField(blank=True, null=True)),
                ("attic_ids", models.JSONField(blank=True, null=True)),
                ("leak_ids", models.JSONField(blank=True, null=True)),
                ("target_margin", models.FloatField(null=True)),
                ("discount", models.FloatField()),
                ("discount_reason", models.CharField(blank=True, max_length=200)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="options",
                        to="estimates.assessment",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="scopeoption_key_held"),
                    models.CheckConstraint(
                        condition=models.Q(("name", ""), _negated=True), name="scopeoption_name_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("target_margin__gte", 0), ("target_margin__lte", 0.95)),
                        name="scopeoption_target_margin_held",
                    ),
                    models.CheckConstraint(condition=models.Q(("discount__gte", 0)), name="scopeoption_discount_held"),
                    models.UniqueConstraint(fields=("parent", "position"), name="scopeoption_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="scopeoption_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Wall",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("name", models.CharField(blank=True, max_length=80)),
                ("length_ft", models.FloatField()),
                ("height_ft", models.FloatField()),
                ("kind", models.CharField(max_length=60)),
                ("construction", models.CharField(max_length=60)),
                ("face", models.CharField(max_length=60, null=True)),
                ("framing", models.CharField(max_length=60)),
                ("spacing_in", models.FloatField()),
                ("depth_in", models.FloatField()),
                ("stud_in", models.FloatField()),
                ("plate_in", models.FloatField()),
                ("bottom_plates", models.BigIntegerField(null=True)),
                ("top_plates", models.BigIntegerField(null=True)),
                ("right_height_ft", models.FloatField(null=True)),
                ("peak_height_ft", models.FloatField(null=True)),
                ("peak_at_ft", models.FloatField(null=True)),
                ("fill_to_ft", models.FloatField(null=True)),
                ("left_end", models.CharField(max_length=60, null=True)),
                ("right_end", models.CharField(max_length=60, null=True)),
                ("through_depth_in", models.FloatField(null=True)),
                ("left_post", models.CharField(max_length=60)),
                ("right_post", models.CharField(max_length=60)),
                ("joists_parallel", models.BooleanField()),
                ("jacks", models.BigIntegerField()),
                ("sill", models.CharField(max_length=60)),
                ("top", models.CharField(max_length=60)),
                ("cladding", models.CharField(max_length=60)),
                ("cladding_exposure_in", models.FloatField()),
                ("sheathing", models.CharField(max_length=60)),
                ("inside", models.CharField(max_length=60)),
                ("inside_cover", models.CharField(max_length=60)),
                ("weather_barrier", models.CharField(max_length=60, null=True)),
                ("access", models.CharField(max_length=60)),
                ("base_height_ft", models.FloatField()),
                ("steep_grade", models.BooleanField()),
                ("obstructed_share", models.FloatField()),
                ("painted", models.BooleanField(null=True)),
                ("room", models.CharField(blank=True, max_length=80)),
                ("existing_fill_material", models.CharField(max_length=60, null=True)),
                ("existing_fill_in_place_in", models.FloatField(null=True)),
                ("existing_fill_compressed_in", models.FloatField(null=True)),
                ("existing_fill_covered_share", models.FloatField(null=True)),
                ("existing_fill_condition", models.CharField(max_length=60, null=True)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="walls", to="estimates.assessment"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="wall_key_held"),
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="wall_name_held"),
                    models.CheckConstraint(
                        condition=models.Q(("length_ft__lte", 500), ("length_ft__gt", 0)), name="wall_length_ft_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("height_ft__lte", 100), ("height_ft__gt", 0)), name="wall_height_ft_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind__in", ["wall", "rim", "knee_wall", "rafter_slope", "floor", "overhang"])
                        ),
                        name="wall_kind_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("construction__in", ["frame", "frame_brick_veneer", "solid_brick", "block"])
                        ),
                        name="wall_construction_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("face__in", ["front", "back", "left", "right"])), name="wall_face_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("framing__in", ["platform", "balloon"])), name="wall_framing_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("spacing_in__gte", 4), ("spacing_in__lte", 96)), name="wall_spacing_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("depth_in__gte", 0.5), ("depth_in__lte", 24)), name="wall_depth_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("stud_in__gte", 0.5), ("stud_in__lte", 6)), name="wall_stud_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("plate_in__gte", 0.5), ("plate_in__lte", 6)), name="wall_plate_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("bottom_plates__gte", 0), ("bottom_plates__lte", 3)),
                        name="wall_bottom_plates_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("top_plates__gte", 0), ("top_plates__lte", 3)), name="wall_top_plates_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("right_height_ft__lte", 100), ("right_height_ft__gt", 0)),
                        name="wall_right_height_ft_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("peak_height_ft__lte", 100), ("peak_height_ft__gt", 0)),
                        name="wall_peak_height_ft_held",
                    ),
                    models.CheckConstraint(condition=models.Q(("peak_at_ft__gt", 0)), name="wall_peak_at_ft_held"),
                    models.CheckConstraint(condition=models.Q(("fill_to_ft__gt", 0)), name="wall_fill_to_ft_held"),
                    models.CheckConstraint(
                        condition=models.Q(("left_end__in", ["through", "butting"])), name="wall_left_end_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("right_end__in", ["through", "butting"])), name="wall_right_end_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("through_depth_in__gte", 0), ("through_depth_in__lte", 24)),
                        name="wall_through_depth_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("left_post__in", ["single", "pocket"])), name="wall_left_post_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("right_post__in", ["single", "pocket"])), name="wall_right_post_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("jacks__gte", 0), ("jacks__lte", 4)), name="wall_jacks_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("sill__in", ["open", "ribbon", "fire_stopped", "blocked_by_us"])),
                        name="wall_sill_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("top__in", ["open", "ribbon", "fire_stopped", "blocked_by_us"])),
                        name="wall_top_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "cladding__in",
                                [
                                    "wood_bevel",
                                    "wood_shingle",
                                    "asbestos_cement",
                                    "plywood_siding",
                                    "vinyl",
                                    "aluminium",
                                    "stucco",
                                    "brick_veneer",
                                ],
                            )
                        ),
                        name="wall_cladding_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("cladding_exposure_in__lte", 48), ("cladding_exposure_in__gt", 0)),
                        name="wall_cladding_exposure_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("sheathing__in", ["none", "board", "plywood", "osb", "fiberboard"])),
                        name="wall_sheathing_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("inside__in", ["plaster_lath", "gypsum", "wood_panel", "none"])),
                        name="wall_inside_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("inside_cover__in", ["paint", "wallpaper", "oil_paint", "vinyl_paper", "foil", "membrane"])
                        ),
                        name="wall_inside_cover_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("weather_barrier__in", ["none", "felt", "building_paper", "housewrap", "foil_board"])
                        ),
                        name="wall_weather_barrier_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("access__in", ["lift_cladding", "drill_cladding", "drill_inside"])),
                        name="wall_access_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("base_height_ft__gte", 0), ("base_height_ft__lte", 100)),
                        name="wall_base_height_ft_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("obstructed_share__gte", 0), ("obstructed_share__lte", 1)),
                        name="wall_obstructed_share_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "existing_fill_material__in",
                                ["glass_batt", "rock_wool_batt", "loose_cellulose", "loose_glass", "loose_rock_wool"],
                            )
                        ),
                        name="wall_existing_fill_material_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("existing_fill_in_place_in__lte", 24), ("existing_fill_in_place_in__gt", 0)
                        ),
                        name="wall_existing_fill_in_place_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("existing_fill_compressed_in__gte", 0), ("existing_fill_compressed_in__lte", 24)
                        ),
                        name="wall_existing_fill_compressed_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("existing_fill_covered_share__gte", 0), ("existing_fill_covered_share__lte", 1)
                        ),
                        name="wall_existing_fill_covered_share_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("existing_fill_condition__in", ["good", "fair", "poor"])),
                        name="wall_existing_fill_condition_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("existing_fill_material__isnull", True),
                                ("existing_fill_in_place_in__isnull", True),
                                ("existing_fill_compressed_in__isnull", True),
                                ("existing_fill_covered_share__isnull", True),
                                ("existing_fill_condition__isnull", True),
                            ),
                            models.Q(
                                ("existing_fill_material__isnull", False),
                                ("existing_fill_in_place_in__isnull", False),
                                ("existing_fill_compressed_in__isnull", False),
                                ("existing_fill_covered_share__isnull", False),
                                ("existing_fill_condition__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="wall_existing_fill_whole_or_none",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="wall_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="wall_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Tee",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("at_in", models.FloatField()),
                ("pocket_in", models.FloatField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="tees", to="estimates.wall"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="tee_key_held"),
                    models.CheckConstraint(
                        condition=models.Q(("at_in__gte", 0), ("at_in__lte", 6000)), name="tee_at_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("pocket_in__lte", 24), ("pocket_in__gt", 0)), name="tee_pocket_in_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="tee_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="tee_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Opening",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("left_in", models.FloatField()),
                ("bottom_in", models.FloatField()),
                ("width_in", models.FloatField()),
                ("height_in", models.FloatField()),
                ("kind", models.CharField(max_length=60)),
                ("header_in", models.FloatField(null=True)),
                ("sash_pocket_in", models.FloatField(null=True)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="openings", to="estimates.wall"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="opening_key_held"),
                    models.CheckConstraint(
                        condition=models.Q(("left_in__gte", 0), ("left_in__lte", 6000)), name="opening_left_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("bottom_in__gte", 0), ("bottom_in__lte", 1200)),
                        name="opening_bottom_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("width_in__lte", 6000), ("width_in__gt", 0)), name="opening_width_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("height_in__lte", 1200), ("height_in__gt", 0)),
                        name="opening_height_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["window", "double_hung", "door", "garage_door", "other"])),
                        name="opening_kind_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("header_in__gte", 0), ("header_in__lte", 24)), name="opening_header_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("sash_pocket_in__gte", 0), ("sash_pocket_in__lte", 12)),
                        name="opening_sash_pocket_in_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="opening_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="opening_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="NoFillZone",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("reason", models.CharField(max_length=60)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="no_fill", to="estimates.wall"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="nofillzone_key_held"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "reason__in",
                                [
                                    "sash_pocket",
                                    "pocket_door",
                                    "return_air",
                                    "panel_or_meter",
                                    "medicine_cabinet",
                                    "stair_stringer",
                                    "tub_or_cabinet",
                                    "exhaust_duct",
                                    "water_pipe",
                                    "other",
                                ],
                            )
                        ),
                        name="nofillzone_reason_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="nofillzone_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="nofillzone_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="FoundStud",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("x_in", models.FloatField()),
                ("y_in", models.FloatField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="studs_found_in",
                        to="estimates.wall",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("x_in__gte", 0), ("x_in__lte", 6000)), name="foundstud_x_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("y_in__gte", 0), ("y_in__lte", 1200)), name="foundstud_y_in_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="foundstud_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="FloorLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("height_in", models.FloatField()),
                ("closure", models.CharField(max_length=60)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="floor_lines", to="estimates.wall"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="floorline_key_held"),
                    models.CheckConstraint(condition=models.Q(("height_in__gt", 0)), name="floorline_height_in_held"),
                    models.CheckConstraint(
                        condition=models.Q(("closure__in", ["open", "ribbon", "fire_stopped", "blocked_by_us"])),
                        name="floorline_closure_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="floorline_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="floorline_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Brace",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("from_x_in", models.FloatField()),
                ("from_y_in", models.FloatField()),
                ("to_x_in", models.FloatField()),
                ("to_y_in", models.FloatField()),
                ("width_in", models.FloatField()),
                ("thickness_in", models.FloatField()),
                ("kind", models.CharField(max_length=60)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="braces", to="estimates.wall"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="brace_key_held"),
                    models.CheckConstraint(
                        condition=models.Q(("from_x_in__gte", 0), ("from_x_in__lte", 6000)), name="brace_from_x_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("from_y_in__gte", 0), ("from_y_in__lte", 1200)), name="brace_from_y_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("to_x_in__gte", 0), ("to_x_in__lte", 6000)), name="brace_to_x_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("to_y_in__gte", 0), ("to_y_in__lte", 1200)), name="brace_to_y_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("width_in__lte", 24), ("width_in__gt", 0)), name="brace_width_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("thickness_in__gte", 0), ("thickness_in__lte", 3)),
                        name="brace_thickness_in_held",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["let_in", "cut_in", "unknown"])), name="brace_kind_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="brace_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="brace_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Block",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("key", models.CharField(blank=True, max_length=40)),
                ("height_in", models.FloatField()),
                ("from_in", models.FloatField(null=True)),
                ("to_in", models.FloatField(null=True)),
                ("thickness_in", models.FloatField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="blocks", to="estimates.wall"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="block_key_held"),
                    models.CheckConstraint(
                        condition=models.Q(("height_in__lte", 1200), ("height_in__gt", 0)), name="block_height_in_held"
                    ),
                    models.CheckConstraint(condition=models.Q(("from_in__gte", 0)), name="block_from_in_held"),
                    models.CheckConstraint(condition=models.Q(("to_in__gte", 0)), name="block_to_in_held"),
                    models.CheckConstraint(
                        condition=models.Q(("thickness_in__lte", 12), ("thickness_in__gt", 0)),
                        name="block_thickness_in_held",
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="block_position_once"),
                    models.UniqueConstraint(fields=("parent", "key"), name="block_key_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="ZoneCorner",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("x_in", models.FloatField()),
                ("y_in", models.FloatField()),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="corners",
                        to="estimates.nofillzone",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("x_in__gte", 0), ("x_in__lte", 6000)), name="zonecorner_x_in_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("y_in__gte", 0), ("y_in__lte", 1200)), name="zonecorner_y_in_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="zonecorner_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Lead",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("version", models.PositiveIntegerField(default=1)),
                ("person", models.CharField(error_messages={"blank": "Enter the name of the person."}, max_length=80)),
                (
                    "phone",
                    models.CharField(
                        blank=True,
                        max_length=40,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[+(]?[0-9][0-9 ().x-]{5,38}\\Z",
                                "Enter a telephone number: digits, spaces, dots, dashes, brackets.",
                            )
                        ],
                    ),
                ),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="e-mail address")),
                ("street", models.CharField(blank=True, max_length=120)),
                ("town", models.CharField(blank=True, max_length=80)),
                (
                    "state",
                    models.CharField(
                        error_messages={"blank": "Enter the two capital letters of the state."},
                        max_length=2,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[A-Z]{2}\\Z", "Enter the two capital letters of the state."
                            )
                        ],
                    ),
                ),
                ("county", models.CharField(blank=True, max_length=60)),
                (
                    "postal_code",
                    models.CharField(
                        blank=True,
                        max_length=10,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^\\d{5}(-\\d{4})?\\Z", "Enter five digits, or five, a hyphen and four."
                            )
                        ],
                    ),
                ),
                ("cost", estimates.models.money_field.MoneyField(db_column="cost_cents")),
                ("consent_given_at", models.DateTimeField(blank=True, null=True)),
                ("consent_withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("next_step", models.CharField(blank=True, max_length=200)),
                ("next_step_on", models.DateField(blank=True, null=True)),
                (
                    "stage",
                    models.CharField(
                        choices=[
                            ("new", "New"),
                            ("visit_set", "Visit set"),
                            ("assessed", "Assessed"),
                            ("proposed", "Proposed"),
                            ("won", "Won"),
                            ("lost", "Lost"),
                            ("cancelled", "Cancelled"),
                        ],
                        default="new",
                        max_length=20,
                    ),
                ),
                (
                    "lost_reason",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("price", "The price"),
                            ("later", "Wants to wait"),
                            ("other_firm", "Chose another firm"),
                            ("no_answer", "Could not be reached any more"),
                            ("no_money", "Could not pay for it"),
                            ("not_suitable", "The house is not suitable"),
                            ("other", "Something else"),
                        ],
                        max_length=20,
                    ),
                ),
                ("is_demo", models.BooleanField(default=False)),
                ("taken_at", models.DateTimeField()),
                (
                    "house",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="leads",
                        to="estimates.house",
                    ),
                ),
                (
                    "seller",
                    models.ForeignKey(
                        error_messages={"null": "Enter who looks after the lead."},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="leads",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "source",
                    models.ForeignKey(
                        error_messages={"null": "Enter where the lead came from."},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="leads",
                        to="estimates.leadsource",
                    ),
                ),
            ],
            options={
                "ordering": ("-taken_at", "-id"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("stage__in", ["new", "visit_set", "assessed", "proposed", "won", "lost", "cancelled"])
                        ),
                        name="lead_stage_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                (
                                    "lost_reason__in",
                                    ["price", "later", "other_firm", "no_answer", "no_money", "not_suitable", "other"],
                                ),
                                ("stage", "lost"),
                            ),
                            models.Q(models.Q(("stage", "lost"), _negated=True), ("lost_reason", "")),
                            _connector="OR",
                        ),
                        name="lead_lost_for_a_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("phone", ""), _negated=True),
                            models.Q(("email", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="lead_can_be_reached",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("next_step", ""), ("next_step_on__isnull", True)),
                            models.Q(models.Q(("next_step", ""), _negated=True), ("next_step_on__isnull", False)),
                            _connector="OR",
                        ),
                        name="lead_next_step_has_a_day",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("consent_withdrawn_at__isnull", True),
                            models.Q(
                                ("consent_given_at__isnull", False),
                                ("consent_withdrawn_at__gte", models.F("consent_given_at")),
                            ),
                            _connector="OR",
                        ),
                        name="lead_consent_in_order",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("stage__in", ("assessed", "proposed", "won", "cancelled")), _negated=True),
                            ("house__isnull", False),
                            _connector="OR",
                        ),
                        name="lead_has_its_house",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("cost__gte", Decimal("0"))), name="lead_cost_not_negative"
                    ),
                    models.CheckConstraint(condition=models.Q(("version__gte", 1)), name="lead_version_from_one"),
                ],
                "indexes": [
                    models.Index(fields=["stage", "taken_at"], name="lead_by_stage"),
                    models.Index(fields=["seller", "next_step_on"], name="lead_by_next_step"),
                ],
            },
        ),
        migrations.CreateModel(
            name="LeadComplaint",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("room", models.CharField(blank=True, max_length=80)),
                ("words", models.CharField(blank=True, max_length=400)),
                (
                    "parent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.DO_NOTHING, related_name="complaints", to="estimates.lead"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("room", ""), _negated=True), name="leadcomplaint_room_held"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("words", ""), _negated=True), name="leadcomplaint_words_held"
                    ),
                    models.UniqueConstraint(fields=("parent", "position"), name="leadcomplaint_position_once"),
                ],
            },
        ),
        migrations.CreateModel(
            name="LeadMove",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "stage",
                    models.CharField(
                        choices=[
                            ("new", "New"),
                            ("visit_set", "Visit set"),
                            ("assessed", "Assessed"),
                            ("proposed", "Proposed"),
                            ("won", "Won"),
                            ("lost", "Lost"),
                            ("cancelled", "Cancelled"),
                        ],
                        max_length=20,
                    ),
                ),
                ("at", models.DateTimeField()),
                ("note", models.CharField(blank=True, max_length=500)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "lead",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="moves", to="estimates.lead"
                    ),
                ),
            ],
            options={
                "verbose_name": "move of a lead",
                "ordering": ("lead", "at", "id"),
                "abstract": False,
                "base_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(fields=("lead", "stage"), name="lead_move_once_per_stage"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("stage__in", ["new", "visit_set", "assessed", "proposed", "won", "lost", "cancelled"])
                        ),
                        name="lead_move_stage_known",
                    ),
                ],
            },
        ),
    ]
