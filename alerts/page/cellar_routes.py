"""The cellar at a glance: ``/``."""

from __future__ import annotations

__all__ = ["cellar_routes"]

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from alerts.page.context import PageContext
from alerts.view.alarm_lines import (
    alarm_due_text,
    alarm_setpoint,
    alarm_value,
    chatter_text,
    finding_suffix,
    since_suffix,
)
from alerts.view.blanket_lines import blanket_line, blanket_of
from alerts.view.cylinder_lines import cylinder_lines, cylinder_of
from alerts.view.format import age, measured_name, missing_words, quality_text, quantity_name, value_text
from alerts.view.gas_alarm_name import gas_alarm_name
from alerts.view.mail_lines import undelivered_line
from alerts.view.mirror_lines import mirror_lines
from alerts.view.muted_lines import muted_line
from alerts.view.racking_lines import racking_line
from alerts.view.so2_lines import judged_so2_line
from alerts.view.status import cellar_status
from alerts.view.vessel_contents import contents_line
from ingest.machine_clock import even_time


def cellar_routes(context: PageContext) -> APIRouter:
    """Make the route of the cellar view."""
    routes = APIRouter()
    cellar = context.cellar
    zone = cellar.site.zone
    units = cellar.site.units

    @routes.get("/", response_class=HTMLResponse, include_in_schema=False)
    def cellar_page(request: Request) -> HTMLResponse:
        now_ms = context.clock()
        with context.read() as store:
            status = cellar_status(cellar, store, now_ms, even_time())
        return context.page(
            request,
            "cellar.html",
            title="Cellar",
            status=status,
            value=lambda quantity, value: value_text(quantity, value, units),
            age=lambda at_ms: age(now_ms - at_ms),
            name=quantity_name,
            quality=lambda reading: quality_text(reading.quality, reading.reason),
            measured=measured_name,
            since=lambda alarm: since_suffix(alarm, zone, now_ms),
            finding=lambda alarm: finding_suffix(alarm, zone, now_ms),
            chatter=lambda alarm: chatter_text(alarm, zone, now_ms),
            missing=missing_words,
            due=lambda alarm: alarm_due_text(alarm, alarm.limit, zone, now_ms),
            gas_name=lambda alarm: alarm.limit and gas_alarm_name(alarm.limit, alarm.value),
            alarm_value=lambda alarm: alarm_value(alarm.limit, alarm.value, units),
            alarm_setpoint=lambda alarm: alarm_setpoint(alarm.limit, units),
            contents=lambda place, so2: contents_line(place.contents, zone, units, now_ms, with_free=not so2),
            so2=lambda place: judged_so2_line(place.judgements, zone, now_ms),
            blanket=lambda place: (
                ""
                if (shown := blanket_of(place.judgements, now_ms)) is None
                else blanket_line(shown, zone, units, now_ms)
            ),
            cylinder=lambda place: (
                []
                if (shown := cylinder_of(place.judgements, now_ms)) is None
                else cylinder_lines(shown, zone, units, now_ms)
            ),
            muted=lambda each: muted_line(each, zone, now_ms),
            racking=lambda racking: racking_line(racking, zone, now_ms),
            undelivered=undelivered_line(status.undelivered, now_ms) if status.undelivered else "",
            mirror=[] if status.mirror is None else mirror_lines(status.mirror, now_ms),
        )

    return routes
