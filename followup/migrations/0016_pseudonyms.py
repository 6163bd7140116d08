import uuid

from django.db import migrations, models
from django.utils.crypto import salted_hmac


def draw(apps, schema_editor):
    """What has a code already keeps it, and its days: those were keyed hashes. What comes later is drawn."""
    for kind, name in (("eye", "Eye"), ("patient", "Patient"), ("surgeon", "Staff")):
        model = apps.get_model("followup", name)
        rows = list(model.objects.only("pk"))
        for row in rows:
            row.pseudonym = _kept(kind, f"staff:{row.pk}" if kind == "surgeon" else str(row.pk))
        model.objects.bulk_update(rows, ["pseudonym"], batch_size=500)
    operations = apps.get_model("followup", "Operation").objects.filter(surgeon=None).exclude(surgeon_name="")
    names = operations.order_by().values_list("surgeon_name", flat=True).distinct()
    surgeons = apps.get_model("followup", "TypedSurgeon")
    surgeons.objects.bulk_create(
        surgeons(name=name, pseudonym=_kept("surgeon", f"name:{name}")) for name in names
    )


def _kept(kind, name):
    digest = salted_hmac(f"followup.audit.{kind}", name, algorithm="sha256").digest()
    drawn = bytearray(uuid.uuid4().bytes)
    drawn[:6], drawn[9:13] = digest[:6], digest[6:10]
    if kind == "patient":
        week = salted_hmac("followup.takeout.weeks", name, algorithm="sha256").digest()[:8]
        weeks = int.from_bytes(week) % 52
        days = (weeks - 26 if weeks < 26 else weeks - 25) * 7
        drawn[13:] = (days + (182 if days < 0 else 181)).to_bytes(3)
    return uuid.UUID(bytes=bytes(drawn))


class Migration(migrations.Migration):

    dependencies = [
        ('followup', '0015_consent_for_next_of_kin'),
    ]

    operations = [
        migrations.CreateModel(
            name='TypedSurgeon',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('pseudonym', models.UUIDField(default=uuid.uuid4, editable=False, help_text='Drawn at random; stands for the record where nobody is named.', unique=True)),
                ('name', models.CharField(max_length=80, unique=True)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.AddField(
            model_name='eye',
            name='pseudonym',
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text='Drawn at random; stands for the record where nobody is named.',
                null=True,
            ),
        ),
        migrations.AddField(
            model_name='patient',
            name='pseudonym',
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text='Drawn at random; stands for the record where nobody is named.',
                null=True,
            ),
        ),
        migrations.AddField(
            model_name='staff',
            name='pseudonym',
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text='Drawn at random; stands for the record where nobody is named.',
                null=True,
            ),
        ),
        migrations.RunPython(draw, migrations.RunPython.noop),
    ]
