"""Says in plain words why a way to a phone does not work: asks its server step by step, each in bounded time.

For whoever sets it up and looks at the page; the sender of alarms only notes that a channel failed.
"""

from __future__ import annotations

import smtplib
import socket
import ssl

from logger.delivery.channel_kinds import MailLogin, Target
from logger.delivery.channels import Outcome


def fault_of(target: Target, outcome: Outcome, timeout_s: float) -> str:
    """Return what is wrong, and what to do about it, after a test that was not taken. May take several time-outs."""
    if outcome.status is not None:
        return _of_status(outcome.status)
    if outcome.hopeless or not target.host:
        return f"{outcome.problem}. Check the address."
    return _of_server(target, timeout_s) or f"{outcome.problem}. Check what was typed."


def _of_status(status: int) -> str:
    if status in (401, 403):
        return f"Sign-in refused (the server answered {status}): check user name, password or token."
    if status in (404, 410):
        return f"The server knows no such address (it answered {status}): check what stands behind its name."
    if status in (413, 429):
        return f"The server takes no more now (it answered {status}): wait a little, then try again."
    if status >= 500:
        return f"The server has a fault of its own (it answered {status}): try again later, or look at it."
    return f"The server did not take the message (it answered {status}): check what was typed."


def _of_server(target: Target, timeout_s: float) -> str | None:
    host, port = target.host, target.port
    try:
        connection = socket.create_connection((host, port), timeout_s)
    except socket.gaierror:
        return f"No machine called “{host}” is known here: check the spelling, or give its number (192.168.1.20)."
    except ConnectionRefusedError:
        return f"{host} is there, but nothing answers at port {port}: check the port, and whether it is switched on."
    except TimeoutError:
        return f"{host} does not answer at port {port}: is it switched on, and on this network?"
    except (OSError, UnicodeError) as error:
        return f"There is no way to {host} from here ({getattr(error, 'strerror', None) or 'a name that is none'})."
    with connection:
        if target.mail is not None:
            return _of_mail(target, target.mail, timeout_s)
        return _of_tls(connection, host) if target.tls else None


def _of_tls(connection: socket.socket, host: str) -> str | None:
    try:
        with ssl.create_default_context().wrap_socket(connection, server_hostname=host):
            return None
    except ssl.SSLCertVerificationError as error:
        return f"The certificate of {host} is not trusted here ({error.verify_message}): mend it, or write http://."
    except (ssl.SSLError, OSError):
        return f"{host} does not speak HTTPS at that port: check the port, or write http://."


def _of_mail(target: Target, mail: MailLogin, timeout_s: float) -> str | None:
    """Go through a mail up to the last step before its text."""
    host, port = target.host, target.port
    context = ssl.create_default_context()
    try:
        if mail.encryption == "tls":
            server: smtplib.SMTP = smtplib.SMTP_SSL(host, port, timeout=timeout_s, context=context)
        else:
            server = smtplib.SMTP(host, port, timeout=timeout_s)
        with server:
            server.ehlo()
            if mail.encryption == "starttls":
                server.starttls(context=context)
                server.ehlo()
            if mail.user:
                server.login(mail.user, mail.password)
            code, _said = server.mail(mail.sender)
            if code >= 400:
                return f"The mail server refuses mail from {mail.sender} ({code}): check “From”."
            code, _said = server.rcpt(mail.to)
            if code >= 400:
                return f"The mail server refuses mail to {mail.to} ({code}): check “Send to”."
    except smtplib.SMTPAuthenticationError:
        return "Sign-in refused by the mail server: check user name and password."
    except smtplib.SMTPNotSupportedError as error:
        wants = "encryption" if "STARTTLS" in str(error) else "a sign-in"
        return f"{host} offers no {wants} at port {port}: choose another encryption, or another port."
    except ssl.SSLCertVerificationError as error:
        return f"The certificate of {host} is not trusted here ({error.verify_message})."
    except (ssl.SSLError, smtplib.SMTPException, OSError, UnicodeError):
        return f"{host} does not speak as expected at port {port}: check port and encryption."
    return None
