import uuid

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('followup', '0016_pseudonyms'),
    ]

    operations = [
        migrations.AlterField(
            model_name='eye',
            name='pseudonym',
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text='Drawn at random; stands for the record where nobody is named.',
                unique=True,
            ),
        ),
        migrations.AlterField(
            model_name='patient',
            name='pseudonym',
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text='Drawn at random; stands for the record where nobody is named.',
                unique=True,
            ),
        ),
        migrations.AlterField(
            model_name='staff',
            name='pseudonym',
            field=models.UUIDField(
                default=uuid.uuid4,
                editable=False,
                help_text='Drawn at random; stands for the record where nobody is named.',
                unique=True,
            ),
        ),
    ]
