"""From the cellar file to a channel that the outbox works with, and to the lamps."""

from __future__ import annotations

__all__ = ["OpenChannel", "lamps", "message_channels", "open_channel"]

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from alerts.channels.alarms_of import alarms_of
from alerts.message import AlarmPictures, MailChannel, draw_alarm
from alerts.message.outbox import Delivered, DeliveryFailure
from alerts.watch.own_limits import watched_limits
from ingest.cellar import LIMIT_QUANTITIES, MAIL_CHANNEL, Cellar
from ingest.store import Store
from ingest.store.alarms.messages import MessageRow

if TYPE_CHECKING:
    from alerts.channels.lamp import Lamp


class OpenChannel(NamedTuple):
    """deliver: hands over a message at a time (UTC ms); send_late: sends what belongs to messages that went out."""

    deliver: Callable[[MessageRow, int], Delivered | DeliveryFailure]
    send_late: Callable[[int], object] = lambda now_ms: None


def message_channels(cellar: Cellar) -> list[str]:
    """List the ids of the channels that somebody is reached by, and that of ``[mail]`` if there is one."""
    mail = [] if cellar.mail is None else [MAIL_CHANNEL]
    return list(dict.fromkeys([*mail, *(recipient.channel for recipient in cellar.recipients)]))


def open_channel(
    cellar: Cellar, channel: str, environ: Mapping[str, str], store: Store | None, clock: Callable[[], int]
) -> OpenChannel:
    """Give what delivers messages by a channel.

    store: of the calling thread, read for what a message is about, None for messages about no alarm; clock: gives UTC
    ms.
    """
    if channel == MAIL_CHANNEL:
        mail = cellar.mail
        assert mail is not None
        by_mail = MailChannel(
            mail,
            lambda: mail.password(environ, cellar.base),
            cellar.site.zone,
            pictures=AlarmPictures(partial(draw_alarm, cellar), clock),
        )
        return OpenChannel(by_mail.deliver, by_mail.send_late_pictures)
    settings = next(each for each in cellar.channel if each.id == channel)
    recipients = {each.name: each for each in cellar.recipients if each.channel == channel}
    if settings.kind == "apprise":
        from alerts.channels.apprise_channel import AppriseChannel

        by_apprise = AppriseChannel(settings, lambda: settings.apprise_url(environ, cellar.base), recipients)
        return OpenChannel(by_apprise.deliver)
    from alerts.channels.webhook import WebhookChannel

    units = _units(cellar)
    by_webhook = WebhookChannel(
        settings,
        lambda: settings.secret(environ, cellar.base),
        recipients,
        cellar.site.name,
        lambda message: () if store is None else alarms_of(store, message, lambda key: units.get(key, "")),
        None if settings.ca_file is None else cellar.base / settings.ca_file,
    )
    return OpenChannel(by_webhook.deliver)


def _units(cellar: Cellar) -> dict[str, str]:
    """The unit in which the value of each limit is kept, by its key; a limit on a rate has its quantity's."""
    limits = {**watched_limits(cellar), **{limit.key: limit for limit in cellar.possible_limits}}
    return {
        key: LIMIT_QUANTITIES[limit.quantity].unit
        for key, limit in limits.items()
        if limit.kind not in ("no data", "due") and limit.quantity in LIMIT_QUANTITIES
    }


def lamps(cellar: Cellar, environ: Mapping[str, str]) -> list[Lamp]:
    """Make the channels of kind mqtt."""
    shown = [channel for channel in cellar.channel if channel.kind == "mqtt"]
    broker = cellar.mqtt
    if not shown or broker is None:
        return []
    from alerts.channels.lamp import Lamp
    from ingest.sources.broker_address import BrokerAddress, default_client_id

    def address(client_id: str) -> BrokerAddress:
        return BrokerAddress.of(broker, client_id, environ, cellar.base, keeps_session=False)

    base_id = broker.client_id or default_client_id(cellar.store_path)
    return [Lamp(channel, partial(address, f"{base_id}-{channel.id}")) for channel in shown]
