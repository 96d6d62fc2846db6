"""Hangs the calendars into the outbox: channels for letters and for people's own calendars, and the sweeps that write them."""

from herdplan.calendars import invitations, push
from herdplan.calendars.sender import send_letter
from herdplan.reminders.channels import CHANNELS, Channel
from herdplan.reminders.sweeps import SWEEPS

CHANNELS[invitations.CHANNEL] = Channel(send_letter, falls_back=False)
CHANNELS[push.CHANNEL] = Channel(push.send_push, falls_back=False)
SWEEPS.extend(sweep for sweep in (invitations.sweep, push.sweep) if sweep not in SWEEPS)
