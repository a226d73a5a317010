"""All tables as they are after the migrations it stands for: a new shop is founded in seconds."""

import django.contrib.auth.models
import django.contrib.auth.validators
import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import shared.access.models
import shared.sealed
import uuid
from django.conf import settings
from django.db import migrations, models

from shared import append_only
from shared.all_tables import AllTables


class Migration(migrations.Migration):

    replaces = [('shared', '0001_initial'), ('shared', '0002_answered_keys'), ('shared', '0003_audit'), ('shared', '0004_company_memberships'), ('shared', '0005_roles_for_all_sites'), ('shared', '0006_audit_action'), ('shared', '0007_mail_server'), ('shared', '0008_events'), ('shared', '0009_names_on_orders'), ('shared', '0010_events_numbered_at_each_site'), ('shared', '0011_webhooks'), ('shared', '0012_second_step'), ('shared', '0013_site_uid')]

    initial = True

    dependencies = [
        ('auth', '0012_alter_user_first_name_max_length'),
    ]

    operations = [
        AllTables([
        migrations.CreateModel(
            name='Endpoint',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80)),
                ('url', models.CharField(max_length=500, verbose_name='address')),
                ('kinds', models.JSONField(blank=True, default=list, help_text='Kinds told; all when empty.')),
                ('paused_at', models.DateTimeField(blank=True, null=True)),
                ('paused_because', models.CharField(blank=True, max_length=200)),
                ('secret', shared.sealed.SealedField()),
                ('old_secret', shared.sealed.SealedField(blank=True)),
                ('old_secret_until', models.DateTimeField(blank=True, null=True)),
                ('read_to', models.BigIntegerField(default=0, help_text='Place in the feed up to which its deliveries are written.')),
                ('lease_until', models.DateTimeField(blank=True, null=True)),
                ('claimed_by', models.CharField(blank=True, max_length=80)),
                ('made_at', models.DateTimeField()),
                ('version', models.PositiveIntegerField(default=1)),
            ],
            options={
                'ordering': ['site', 'name'],
            },
        ),
        migrations.CreateModel(
            name='Event',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('uid', models.CharField(help_text='The same however often sent.', max_length=40, unique=True)),
                ('kind', models.CharField(choices=[('order.taken', 'Taken in'), ('order.changed', 'Changed'), ('order.quantity_changed', 'Quantity changed'), ('order.held', 'Put on hold'), ('order.released', 'Released from hold'), ('order.cancelled', 'Cancelled'), ('pour.planned', 'Planned'), ('pour.date_moved', 'Date moved'), ('pour.taken_out', 'Taken out of the plan'), ('pour.late_foreseen', 'Foreseen to be late'), ('batch.poured', 'Batch poured'), ('casting.cured', 'Casting cured and demoulded'), ('tool.ready', 'Tool ready'), ('tool.replacement_due', 'Tool due for replacement'), ('stock.shortage_foreseen', 'Shortage foreseen'), ('stock.shortage_cleared', 'Shortage cleared'), ('purchase.proposed', 'Purchase proposed'), ('purchase.approved', 'Purchase order approved'), ('goods.received', 'Goods received'), ('lot.expiring', 'Lot soon expires'), ('lot.held', 'Lot held')], max_length=40)),
                ('object_kind', models.CharField(choices=[('order', 'Tool order'), ('tool', 'Tool'), ('material', 'Material at a site'), ('purchase_order', 'Purchase order'), ('lot', 'Lot')], max_length=20)),
                ('object_id', models.CharField(max_length=40)),
                ('sequence', models.PositiveIntegerField()),
                ('reference', models.CharField(blank=True, help_text="The ordering system's own name for it.", max_length=120)),
                ('reason', models.CharField(blank=True, max_length=200)),
                ('payload', models.JSONField(default=dict)),
                ('at', models.DateTimeField()),
            ],
            options={
                'ordering': ['object_kind', 'object_id', 'sequence'],
            },
        ),
        migrations.CreateModel(
            name='FeedEnd',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.BigIntegerField(default=0)),
            ],
        ),
        migrations.CreateModel(
            name='User',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
                ('username', models.CharField(error_messages={'unique': 'A user with that username already exists.'}, help_text='Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.', max_length=150, unique=True, validators=[django.contrib.auth.validators.UnicodeUsernameValidator()], verbose_name='username')),
                ('first_name', models.CharField(blank=True, max_length=150, verbose_name='first name')),
                ('last_name', models.CharField(blank=True, max_length=150, verbose_name='last name')),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='email address')),
                ('is_staff', models.BooleanField(default=False, help_text='Designates whether the user can log into this admin site.', verbose_name='staff status')),
                ('is_active', models.BooleanField(default=True, help_text='Designates whether this user should be treated as active. Unselect this instead of deleting accounts.', verbose_name='active')),
                ('date_joined', models.DateTimeField(default=django.utils.timezone.now, verbose_name='date joined')),
                ('groups', models.ManyToManyField(blank=True, help_text='The groups this user belongs to. A user will get all permissions granted to each of their groups.', related_name='user_set', related_query_name='user', to='auth.group', verbose_name='groups')),
                ('user_permissions', models.ManyToManyField(blank=True, help_text='Specific permissions for this user.', related_name='user_set', related_query_name='user', to='auth.permission', verbose_name='user permissions')),
            ],
            options={
                'verbose_name': 'user',
                'verbose_name_plural': 'users',
                'abstract': False,
            },
            managers=[
                ('objects', django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name='UnplacedEvent',
            fields=[
                ('event', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='+', serialize=False, to='shared.event')),
            ],
        ),
        migrations.AddField(
            model_name='event',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.CreateModel(
            name='HookDelivery',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.BigIntegerField(help_text="The event's place in the feed.")),
                ('state', models.CharField(choices=[('waiting', 'Waits'), ('sending', 'Being sent'), ('delivered', 'Delivered'), ('dead', 'Given up')], default='waiting', max_length=10)),
                ('attempts', models.PositiveSmallIntegerField(default=0)),
                ('try_at', models.DateTimeField()),
                ('error', models.CharField(blank=True, max_length=300)),
                ('doubtful', models.BooleanField(default=False, help_text='It may have arrived before.')),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('endpoint', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='deliveries', to='shared.endpoint')),
                ('event', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.event')),
            ],
            options={
                'ordering': ['position'],
                'indexes': [models.Index(fields=['endpoint', 'state', 'position'], name='hookdelivery_open')],
                'constraints': [models.UniqueConstraint(fields=('endpoint', 'event'), name='hookdelivery_once')],
            },
        ),
        migrations.CreateModel(
            name='HookAttempt',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('message_id', models.CharField(max_length=60)),
                ('at', models.DateTimeField()),
                ('took_ms', models.PositiveIntegerField()),
                ('taken', models.BooleanField()),
                ('words', models.CharField(max_length=300)),
                ('endpoint', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tries', to='shared.endpoint')),
                ('delivery', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='tries', to='shared.hookdelivery')),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='IdempotencyKey',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('principal', models.CharField(help_text='token:ID or user:ID.', max_length=40)),
                ('key', models.CharField(max_length=255)),
                ('fingerprint', models.CharField(help_text='SHA-256 of method, path and body.', max_length=64)),
                ('status', models.PositiveSmallIntegerField(null=True)),
                ('body', models.TextField(blank=True)),
                ('headers', models.JSONField(default=dict)),
                ('created_at', models.DateTimeField(db_index=True)),
            ],
            options={
                'ordering': ['-created_at'],
                'constraints': [models.UniqueConstraint(fields=('principal', 'key'), name='idempotency_key_once')],
            },
        ),
        migrations.CreateModel(
            name='MailServer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('host', models.CharField(blank=True, max_length=200)),
                ('port', models.PositiveIntegerField(default=587, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(65535)])),
                ('security', models.CharField(choices=[('starttls', 'STARTTLS (usually port 587)'), ('tls', 'TLS from the start (usually port 465)'), ('none', 'none: only for a server in this house')], default='starttls', max_length=8)),
                ('username', models.CharField(blank=True, max_length=200)),
                ('password', shared.sealed.SealedField(blank=True)),
                ('sender', models.EmailField(blank=True, max_length=254)),
                ('tried_at', models.DateTimeField(blank=True, null=True)),
                ('outcome', models.CharField(blank=True, max_length=300)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='mailserver_one_row'), models.CheckConstraint(condition=models.Q(('host', ''), models.Q(('sender', ''), _negated=True), _connector='OR'), name='mailserver_has_sender', violation_error_message="Give the sender's address.")],
            },
        ),
        migrations.CreateModel(
            name='SecondStep',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('secret', shared.sealed.SealedField()),
                ('made_at', models.DateTimeField()),
                ('confirmed_at', models.DateTimeField(blank=True, null=True)),
                ('last_count', models.BigIntegerField(default=0)),
                ('user', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='second_step', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='SignedIn',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('session_key', models.CharField(max_length=40, unique=True)),
                ('began_at', models.DateTimeField()),
                ('address', models.GenericIPAddressField(blank=True, null=True)),
                ('browser', models.CharField(blank=True, max_length=200)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='signed_in', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-began_at', '-id'],
            },
        ),
        migrations.CreateModel(
            name='Site',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=40, unique=True, validators=[django.core.validators.RegexValidator('\\A[A-Za-z0-9][A-Za-z0-9._-]{0,39}\\Z', 'Use letters, digits, dot, hyphen or underscore; at most 40, the first a letter or digit.')])),
                ('name', models.CharField(max_length=120)),
                ('time_zone', models.CharField(default='UTC', max_length=64, validators=[shared.access.models.check_time_zone])),
                ('is_default', models.BooleanField(default=False)),
                ('expected_c', models.DecimalField(decimal_places=1, default=20, max_digits=4, verbose_name='expected shop temperature, °C')),
                ('legal_name', models.CharField(blank=True, help_text='As it stands on orders; empty: the name.', max_length=160)),
                ('address', models.CharField(blank=True, help_text='Where bills go.', max_length=400)),
                ('delivery_address', models.CharField(blank=True, help_text='Where goods go; empty: the address.', max_length=400)),
                ('contact', models.CharField(blank=True, help_text='Whom suppliers ask: name, telephone, e-mail.', max_length=200)),
                ('tax_number', models.CharField(blank=True, max_length=40)),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False, help_text='The same nowhere else: RFC 9562.', unique=True)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
            ],
            options={
                'ordering': ['code'],
                'constraints': [models.UniqueConstraint(condition=models.Q(('is_default', True)), fields=('is_default',), name='site_one_default', violation_error_message='There is a default site already; only one may be it.'), models.CheckConstraint(condition=models.Q(('expected_c__gte', 0), ('expected_c__lte', 45)), name='site_expected_c_0_to_45', violation_error_message='The expected shop temperature must be 0 to 45 °C.')],
            },
        ),
        migrations.CreateModel(
            name='NumberedObject',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('object_kind', models.CharField(choices=[('order', 'Tool order'), ('tool', 'Tool'), ('material', 'Material at a site'), ('purchase_order', 'Purchase order'), ('lot', 'Lot')], max_length=20)),
                ('object_id', models.CharField(max_length=40)),
                ('last', models.PositiveIntegerField(default=0)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.site')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('object_kind', 'object_id', 'site'), name='numberedobject_once')],
            },
        ),
        migrations.CreateModel(
            name='Membership',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('role', models.CharField(choices=[('technician', 'Technician'), ('planner', 'Planner'), ('purchasing', 'Purchasing'), ('tool_keeper', 'Tool keeper'), ('quality', 'Quality'), ('administrator', 'Administrator'), ('integration', 'Integration')], max_length=20)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to='shared.site')),
            ],
            options={
                'ordering': ['site__code', 'role'],
                'constraints': [models.UniqueConstraint(fields=('user', 'site', 'role'), name='membership_once')],
            },
        ),
        migrations.CreateModel(
            name='FeedPlace',
            fields=[
                ('position', models.BigIntegerField(primary_key=True, serialize=False)),
                ('placed_at', models.DateTimeField(db_index=True)),
                ('event', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='place', to='shared.event')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.site')),
            ],
            options={
                'ordering': ['position'],
                'indexes': [models.Index(fields=['site', 'position'], name='feedplace_by_site')],
            },
        ),
        migrations.AddField(
            model_name='event',
            name='site',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.site'),
        ),
        migrations.AddField(
            model_name='endpoint',
            name='site',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.site'),
        ),
        migrations.CreateModel(
            name='AuditEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField(db_index=True)),
                ('user_id', models.BigIntegerField(null=True)),
                ('username', models.CharField(blank=True, max_length=150)),
                ('token', models.CharField(blank=True, help_text='How the token used begins.', max_length=12)),
                ('request_id', models.CharField(blank=True, max_length=64)),
                ('action', models.CharField(choices=[('added', 'Added'), ('changed', 'Changed'), ('deleted', 'Deleted')], max_length=8)),
                ('kind', models.CharField(help_text='Such as shop.lot.', max_length=60)),
                ('object_id', models.BigIntegerField()),
                ('name', models.CharField(max_length=200)),
                ('before', models.JSONField(default=dict)),
                ('after', models.JSONField(default=dict)),
                ('site', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='shared.site')),
            ],
            options={
                'ordering': ['-at', '-id'],
                'indexes': [models.Index(fields=['kind', 'object_id'], name='audit_by_object'), models.Index(fields=['site', 'at'], name='audit_by_site')],
            },
        ),
        migrations.CreateModel(
            name='AccessToken',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120)),
                ('prefix', models.CharField(db_index=True, max_length=12)),
                ('digest', models.CharField(max_length=64, unique=True)),
                ('scopes', models.JSONField(default=list)),
                ('created_at', models.DateTimeField()),
                ('expires_at', models.DateTimeField(blank=True, null=True)),
                ('revoked_at', models.DateTimeField(blank=True, null=True)),
                ('last_used_at', models.DateTimeField(blank=True, null=True)),
                ('owner', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tokens', to=settings.AUTH_USER_MODEL)),
                ('sites', models.ManyToManyField(related_name='+', to='shared.site')),
            ],
            options={
                'ordering': ['-created_at', '-id'],
            },
        ),
        migrations.CreateModel(
            name='SpareCode',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('digest', models.CharField(max_length=64, unique=True)),
                ('used_at', models.DateTimeField(blank=True, null=True)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='spare_codes', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='AskedPassword',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('asked_at', models.DateTimeField()),
                ('sent_at', models.DateTimeField(blank=True, null=True)),
                ('tries', models.PositiveSmallIntegerField(default=0)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['asked_at', 'id'],
                'indexes': [models.Index(fields=['asked_at'], name='askedpassword_asked_at')],
            },
        ),
        migrations.CreateModel(
            name='CompanyMembership',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('role', models.CharField(choices=[('technician', 'Technician'), ('planner', 'Planner'), ('purchasing', 'Purchasing'), ('tool_keeper', 'Tool keeper'), ('quality', 'Quality'), ('administrator', 'Administrator'), ('integration', 'Integration')], max_length=20)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='company_memberships', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['user', 'role'],
                'constraints': [models.UniqueConstraint(fields=('user', 'role'), name='companymembership_once')],
            },
        ),
        migrations.AddIndex(
            model_name='event',
            index=models.Index(fields=['site', 'kind'], name='event_by_kind'),
        ),
        migrations.AddConstraint(
            model_name='event',
            constraint=models.UniqueConstraint(fields=('object_kind', 'object_id', 'site', 'sequence'), name='event_sequence_once'),
        ),
        migrations.AddConstraint(
            model_name='event',
            constraint=models.CheckConstraint(condition=models.Q(('sequence__gte', 1)), name='event_sequence_from_1'),
        ),
        migrations.AddConstraint(
            model_name='endpoint',
            constraint=models.UniqueConstraint(fields=('site', 'name'), name='endpoint_name_once'),
        ),
        ]),
        append_only.operation("shared_auditentry", "shared_event"),
    ]
