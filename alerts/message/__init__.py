"""What is sent to a person: what it says, when it may go out, and that it arrives.

In reading order:

subject            a message's subject: leading words, and a tail that names the alarm
facts              what is wrong or right again, by the kind of limit
gas_words          what a message about gas says beside its number
cylinder_words     what a message about a gas cylinder says beside its number
cautions           what may hurt the person who answers
chatter_words      lines for the cellar file that would end a chatter
wording            a transition in plain words
room_air           what escaping gas can do to the air of the room
helper_air         the same for a helper, who goes into the room and does not know it
bundle             several messages become one
flood              more alarms than one person can read
digest             what is collected and sent once a day
cellar_digest      how the whole cellar stands, for who did not look since the last digest
digest_times       when a digest of the cellar file's hour goes out
hours              when a message may go out without waking anybody
routes             who gets a message, and what it waits for
message_id         the Message-ID, the same on every try
trial              the message that a limit would send for a value
notices            the messages that a turn's transitions cause, put into the outbox
standing           alarms that stand, in a line each
flood_end          that a flood is over
gap_report         that nothing was watched for a while, and what is found
reports            messages that belong to no alarm
hearing            who would hear of an alarm that is raised at a time
reach              hours in which an urgent alarm reaches nobody while the owner is away
racking_reminders  a racking that no entry finishes
reminders          an alarm that nobody acknowledges: reminders, and a second person
reminder_words     what these say
ring               test messages with a code
collecting         what was held back goes out together
outbox             what is due is sent, and tried again
direct             what cannot wait for the store goes to the channel at once
alarm_chart        what the picture of an alarm shows: the last day, with the limit
alarm_pictures     these pictures, made aside and waited for only so long
mail_picture       a picture in a mail, beside plain text that is complete without it
mail               the channel
smtp_client        the connection to a mail server, with a bound on each reply
"""

from alerts.message.alarm_pictures import AlarmPictures, draw_alarm
from alerts.message.collecting import Collector
from alerts.message.direct import DirectMessages
from alerts.message.flood_end import FloodEnd
from alerts.message.mail import MailChannel, try_login
from alerts.message.notices import Notifier
from alerts.message.outbox import Outbox
from alerts.message.racking_reminders import RackingReminders
from alerts.message.reminders import Reminders
from alerts.message.reports import put_report, wrong_future
from alerts.message.wording import SHOWN_READINGS, Ago

__all__ = [
    "SHOWN_READINGS",
    "Ago",
    "AlarmPictures",
    "Collector",
    "DirectMessages",
    "FloodEnd",
    "MailChannel",
    "Notifier",
    "Outbox",
    "RackingReminders",
    "Reminders",
    "draw_alarm",
    "put_report",
    "try_login",
    "wrong_future",
]
