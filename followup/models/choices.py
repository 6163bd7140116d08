"""Field choices as plain lists, so that a migration never imports the domain."""

from followup.domain import words
from followup.domain.roles import Role

ROLES = [(role.value, role.label) for role in Role]
LANGUAGES = words.Language.choices()
SIDES = words.Side.choices()
SEXES = words.Sex.choices()
YES_NO = words.YesNo.choices()
PRECISIONS = words.DatePrecision.choices()
INDICATIONS = words.Indication.choices()
PROCEDURES = words.Procedure.choices()
TAMPONADES = words.Tamponade.choices()
EXTENTS = words.Extent.choices()
REPEATS = words.Repeat.choices()
RETINAS = words.Retina.choices()
HOLES = words.Hole.choices()
OUTER_RETINAS = words.OuterRetina.choices()
LENSES = words.Lens.choices()
TAMPONADES_SEEN = words.TamponadeSeen.choices()
COMPLICATIONS = words.Complication.choices()
BARE_ACUITY = [("decimal", "Decimal"), ("logmar", "logMAR"), ("letters", "ETDRS letters")]
CORRECTIONS = words.Correction.choices()
LANES = words.Lane.choices()
MARKS = words.Mark.choices()
SESSION_KINDS = words.SessionKind.choices()
APPOINTMENT_STATES = words.AppointmentState.choices()
REPLIES = words.Reply.choices()
CANCELLED_BY = words.CancelledBy.choices()
DECISION_KINDS = words.DecisionKind.choices()
CHANNELS = words.Channel.choices()
CONSENT_CHANNELS = [(channel.value, channel.label) for channel in words.Channel if channel.needs_consent]
LETTER_KINDS = words.LetterKind.choices()
CONTACT_RESULTS = words.ContactResult.choices()
REASONS_NOT_ATTENDING = words.NotAttending.choices()
WEEKDAYS = list(enumerate(["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]))
