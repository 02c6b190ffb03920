"""Every route: who may, and what it leaves behind for the audit. A test holds this table and the app together.

`may` names a dependency of access.py: viewer, maker, owner: signed in with that role or a higher one; person:
anybody signed in; onlooker: or a wall screen; reader: or whoever has a link to that record; station: by its token;
operator: by the operators' token, or from the machine itself.
anybody: nobody need be known. Whoever changes something must ask from one of our own pages (access.own_page), except
a station, which shows its token in a header that no foreign page can set.

`leaves`: the kind of the event that a change writes (who, when, what), or why it writes none.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Route:
    """One method on one path."""

    method: str
    path: str
    may: str
    leaves: str = ""

    @property
    def changes(self) -> bool:
        """Whether it may change anything: never a GET (ASVS 5.0, 3.5.3)."""
        return self.method not in ("GET", "HEAD")


NO_PERSON = "no event: a station's rows are its own record, each with the time it came"
OWN_DEVICE = "no event: a cookie of this device"

ROUTES: tuple[Route, ...] = (
    # Signing in
    Route("GET", "/set-up", "anybody"),
    Route("POST", "/set-up", "anybody", "owner-made"),
    Route("GET", "/sign-in", "anybody"),
    Route("POST", "/sign-in", "anybody", "signed-in"),
    Route("POST", "/sign-out", "person", "signed-out"),
    Route("GET", "/join", "anybody"),
    Route("POST", "/join", "anybody", "joined"),
    Route("GET", "/shared/{token}", "anybody"),
    # The service itself
    Route("GET", "/api/health", "anybody"),
    Route("GET", "/api/ready", "anybody"),
    Route("GET", "/metrics", "operator"),
    Route("GET", "/charts/{version}.js", "anybody"),
    Route("GET", "/api/openapi.json", "viewer"),
    # Stations
    Route("POST", "/api/batches", "station", NO_PERSON),
    Route("GET", "/api/stations", "viewer"),
    Route("POST", "/api/stations", "owner", "station-enrolled"),
    Route("POST", "/api/stations/{name}/revoke", "owner", "station-revoked"),
    Route("GET", "/stations", "viewer"),
    Route("GET", "/stations/{name}/hand", "viewer"),
    Route("POST", "/stations/{name}/hand", "maker", "hand-check"),
    Route("POST", "/stations/{name}/checks", "maker", "check-begun"),
    Route("GET", "/stations/{name}/probes/{rom}", "viewer"),
    Route("GET", "/stations/{name}/probes/{rom}/ice", "viewer"),
    Route("POST", "/stations/{name}/probes/{rom}/ice", "maker", "ice-point"),
    Route("GET", "/stations/{name}/probes/{rom}/dip", "viewer"),
    Route("POST", "/stations/{name}/probes/{rom}/dip", "maker", "dip-test"),
    Route("GET", "/placing", "viewer"),
    Route("GET", "/wiring", "viewer"),
    Route("POST", "/stations", "owner", "station-enrolled"),
    Route("POST", "/stations/{name}/revoke", "owner", "station-revoked"),
    Route("POST", "/stations/{name}/place", "owner", "station-placed"),
    # People
    Route("GET", "/people", "owner"),
    Route("POST", "/people/invitations", "owner", "asked-in"),
    Route("POST", "/people/{person_id}/new-password", "owner", "asked-in"),
    Route("POST", "/people/invitations/{invitation_id}/withdraw", "owner", "invitation-withdrawn"),
    Route("POST", "/people/{person_id}/role", "owner", "role-changed"),
    Route("POST", "/people/{person_id}/remove", "owner", "removed"),
    Route("POST", "/sign-ins/{sign_in_id}/end", "person", "sign-in-ended"),
    Route("GET", "/me", "viewer"),
    Route("POST", "/me/password", "person", "password-changed"),
    Route("POST", "/me/sign-ins/end-others", "person", "sign-in-ended"),
    Route("POST", "/me/leave", "person", "left"),
    Route("GET", "/phone", "viewer"),
    Route("POST", "/phone", "maker", "phone-set-up"),
    Route("POST", "/phone/code", "maker", "phone-code"),
    Route("POST", "/phone/channels/{channel_id}/test", "maker", "test-sent"),
    Route("POST", "/phone/channels/{channel_id}/arrived", "maker", "test-confirmed"),
    Route("POST", "/phone/channels/{channel_id}/turn", "maker", "phone-turn"),
    Route("POST", "/phone/channels/{channel_id}/remove", "maker", "phone-removed"),
    Route("GET", "/people/{person_id}/phone", "owner"),
    Route("POST", "/people/{person_id}/phone", "owner", "phone-set-up"),
    Route("POST", "/people/{person_id}/phone/code", "owner", "phone-code"),
    Route("GET", "/to-phone/{token}", "anybody"),
    Route("POST", "/to-phone/{token}", "anybody", "phone-set-up"),
    Route("GET", "/links", "maker"),
    Route("POST", "/links", "maker", "screen-link-made"),
    Route("POST", "/links/{link_id}/end", "maker", "link-ended"),
    Route("GET", "/settings", "viewer"),
    Route("GET", "/help", "viewer"),
    Route("GET", "/help/{name}", "viewer"),
    Route("POST", "/settings/units", "person", OWN_DEVICE),
    # Pours, for programs
    Route("GET", "/api/pours", "viewer"),
    Route("POST", "/api/pours", "maker", "planned"),
    Route("GET", "/api/pours/{pour_id}", "viewer"),
    Route("PUT", "/api/pours/{pour_id}/plan", "maker", "plan-changed"),
    Route("POST", "/api/pours/{pour_id}/stage", "maker", "ready"),
    Route("POST", "/api/pours/{pour_id}/undo", "maker", "undone"),
    Route("GET", "/api/pours/{pour_id}/ending", "viewer"),
    Route("POST", "/api/pours/{pour_id}/ending/exception", "maker", "end-exception"),
    Route("POST", "/api/pours/{pour_id}/notes", "maker", "note"),
    Route("GET", "/api/pours/{pour_id}/ready", "viewer"),
    Route("POST", "/api/pours/{pour_id}/ready/sign", "maker", "signed"),
    Route("POST", "/api/pours/{pour_id}/ready/again", "maker", "signed-again"),
    Route("POST", "/api/pours/{pour_id}/ready/unsign", "maker", "unsigned"),
    Route("POST", "/api/pours/{pour_id}/ready/override", "maker", "override"),
    Route("POST", "/api/pours/{pour_id}/outcome", "maker", "outcome"),
    Route("POST", "/api/pours/{pour_id}/tests", "maker", "test"),
    Route("POST", "/api/pours/{pour_id}/lots", "maker", "lot"),
    Route("POST", "/api/pours/{pour_id}/layers", "maker", "layer"),
    Route("POST", "/api/pours/{pour_id}/photos", "maker", "photo"),
    Route("GET", "/api/pours/{pour_id}/curve", "reader"),
    Route("GET", "/api/pours/{pour_id}/record", "viewer"),
    Route("GET", "/api/pours/{pour_id}/everything", "viewer"),
    Route("GET", "/api/pours/{pour_id}/tables/{name}", "viewer"),
    Route("GET", "/api/pours/{pour_id}/bundle", "viewer"),
    Route("GET", "/api/pours/{pour_id}/verify", "viewer"),
    Route("POST", "/api/pours/{pour_id}/remove", "owner", "record-deleted"),
    Route("GET", "/api/pours/{pour_id}/calendar.ics", "viewer"),
    Route("GET", "/calendar/{token}", "anybody"),
    Route("GET", "/api/compare", "viewer"),
    Route("GET", "/api/shop", "viewer"),
    Route("GET", "/api/pours/{pour_id}/progress", "viewer"),
    Route("GET", "/api/pours/{pour_id}/alarms", "viewer"),
    Route("GET", "/api/alarms", "viewer"),
    Route("POST", "/api/alarms/{alarm_id}/acknowledge", "maker", "alarm"),
    Route("GET", "/api/alarms/rates", "viewer"),
    Route("POST", "/api/alarms/{alarm_id}/shelve", "maker", "alarm"),
    Route("POST", "/api/alarms/{alarm_id}/unshelve", "maker", "alarm"),
    Route("POST", "/api/alarms/{alarm_id}/out-of-service", "maker", "alarm"),
    Route("POST", "/api/alarms/{alarm_id}/return-to-service", "maker", "alarm"),
    Route("POST", "/api/pours/{pour_id}/looks", "maker", "look"),
    Route("POST", "/api/pours/{pour_id}/poured", "maker", "poured"),
    Route("POST", "/api/pours/{pour_id}/level", "maker", "level"),
    Route("POST", "/api/stations/{name}/fan", "maker", "fan"),
    Route("GET", "/api/messages", "viewer"),
    Route("POST", "/api/messages/test", "maker", "test-sent"),
    # Alarms and messages, for people
    Route("GET", "/a/{token}", "anybody"),
    Route("POST", "/a/{token}", "anybody", "alarm"),
    Route("GET", "/look/{token}", "anybody"),
    Route("POST", "/look/{token}", "anybody", "look"),
    Route("GET", "/alarms/rates", "viewer"),
    Route("GET", "/alarms/table", "viewer"),
    Route("POST", "/alarms/{alarm_id}/quiet", "maker", "alarm"),
    Route("GET", "/messages", "viewer"),
    Route("POST", "/messages/test", "maker", "test-sent"),
    Route("POST", "/stations/{name}/fan", "maker", "fan"),
    Route("POST", "/pours/{pour_id}/measured", "maker", "poured"),
    # Pours, for people
    Route("GET", "/", "onlooker"),
    Route("GET", "/live", "onlooker"),
    Route("GET", "/alarms/{alarm_id}", "onlooker"),
    Route("POST", "/alarms/{alarm_id}/acknowledge", "maker", "alarm"),
    Route("GET", "/pours/new", "maker"),
    Route("POST", "/pours/new", "maker", "planned"),
    Route("GET", "/pours/{pour_id}", "viewer"),
    Route("GET", "/pours/{pour_id}/section", "viewer"),
    Route("POST", "/pours/{pour_id}/stage", "maker", "ready"),
    Route("GET", "/pours/{pour_id}/step", "maker"),
    Route("POST", "/pours/{pour_id}/undo", "maker", "undone"),
    Route("POST", "/pours/{pour_id}/ending", "maker", "end-exception"),
    Route("POST", "/pours/{pour_id}/station", "maker", "station-chosen"),
    Route("POST", "/pours/{pour_id}/notes", "maker", "note"),
    Route("GET", "/pours/{pour_id}/plan", "viewer"),
    Route("POST", "/pours/{pour_id}/plan", "maker", "plan-changed"),
    Route("POST", "/pours/{pour_id}/plan/numbers", "maker", "plan-changed"),
    Route("POST", "/pours/{pour_id}/plan/sections/{section}", "maker", "plan-changed"),
    Route("POST", "/pours/{pour_id}/plan/undo", "maker", "plan-changed"),
    Route("GET", "/pours/{pour_id}/ready", "viewer"),
    Route("POST", "/pours/{pour_id}/ready", "maker", "ready"),
    Route("POST", "/pours/{pour_id}/ready/sign", "maker", "signed"),
    Route("POST", "/pours/{pour_id}/ready/again", "maker", "signed-again"),
    Route("POST", "/pours/{pour_id}/ready/unsign", "maker", "unsigned"),
    Route("POST", "/pours/{pour_id}/ready/override", "maker", "override"),
    Route("POST", "/pours/{pour_id}/ready/photo", "maker", "photo"),
    Route("POST", "/pours/{pour_id}/ready/place/{where}", "maker", "signed"),
    Route("POST", "/pours/{pour_id}/ready/place/{where}/again", "maker", "signed-again"),
    Route("GET", "/pours/{pour_id}/mix", "viewer"),
    Route("POST", "/pours/{pour_id}/mix", "maker", "batch"),
    Route("POST", "/pours/{pour_id}/mix/clock", "maker", "mixing"),
    Route("GET", "/pours/{pour_id}/first-hour", "viewer"),
    Route("POST", "/pours/{pour_id}/looks", "maker", "look"),
    Route("POST", "/pours/{pour_id}/photos", "maker", "photo"),
    Route("GET", "/pours/{pour_id}/photos/{name}", "reader"),
    Route("GET", "/pours/{pour_id}/label", "viewer"),
    Route("GET", "/pours/{pour_id}/record", "reader"),
    Route("GET", "/pours/{pour_id}/record.pdf", "reader"),
    Route("GET", "/pours/{pour_id}/record/paper", "reader"),
    Route("POST", "/pours/{pour_id}/record/outcome", "maker", "outcome"),
    Route("POST", "/pours/{pour_id}/record/test", "maker", "test"),
    Route("POST", "/pours/{pour_id}/record/lot", "maker", "lot"),
    Route("POST", "/pours/{pour_id}/record/layer", "maker", "layer"),
    Route("POST", "/pours/{pour_id}/record/addition", "maker", "note"),
    Route("POST", "/pours/{pour_id}/remove", "owner", "record-deleted"),
    # What the shop learns
    Route("GET", "/compare", "viewer"),
    Route("GET", "/shop", "viewer"),
    Route("POST", "/shop/usual", "maker", "shop-usual"),
    Route("POST", "/shop/stock", "maker", "stock"),
    Route("GET", "/resins", "viewer"),
    Route("GET", "/resins/new", "maker"),
    Route("GET", "/resins/{key}/edit", "maker"),
    Route("POST", "/resins", "maker", "resin-kept"),
    Route("POST", "/resins/{key}/take", "maker", "resin-kept"),
    Route("POST", "/resins/{key}/datasheet", "maker", "resin-kept"),
    Route("POST", "/resins/{key}/drop", "maker", "resin-dropped"),
    Route("POST", "/resins/{key}/put-back", "maker", "resin-kept"),
    Route("GET", "/resins/{key}/cup-test", "viewer"),
    Route("POST", "/resins/{key}/cup-test", "maker", "cup-test-begun"),
    Route("POST", "/resins/{key}/cup-test/add", "maker", "resin-kept"),
    Route("POST", "/resins/{key}/cup-test/stop", "maker", "cup-test-ended"),
    Route("GET", "/shop/import", "maker"),
    Route("POST", "/shop/import", "maker", "log-imported"),
)
