"""Says in plain words why a way to a phone does not work: asks its server step by step, each in bounded time.

For whoever sets it up and looks at the page; the sender of alarms only notes that a channel failed.
"""

from __future__ import annotations

import smtplib
import socket
import ssl

from logger.delivery.channel_kinds import MailLogin, Target
from logger.delivery.channels import Outcome
from logger.words.phrase import phrase


def fault_of(target: Target, outcome: Outcome, timeout_s: float) -> str:
    """Return what is wrong, and what to do about it, after a test that was not taken. May take several time-outs."""
    if outcome.status is not None:
        return _of_status(outcome.status)
    if outcome.hopeless or not target.host:
        return phrase("{problem}. Check the address.", problem=outcome.problem)
    return _of_server(target, timeout_s) or phrase(
        "{problem}. Check what was typed.", problem=outcome.problem
    )


def _of_status(status: int) -> str:
    if status in (401, 403):
        return phrase(
            "Sign-in refused (the server answered {status}): check user name, password or token.",
            status=str(status),
        )
    if status in (404, 410):
        return phrase(
            "The server knows no such address (it answered {status}): check what stands behind its name.",
            status=str(status),
        )
    if status in (413, 429):
        return phrase(
            "The server takes no more now (it answered {status}): wait a little, then try again.",
            status=str(status),
        )
    if status >= 500:
        return phrase(
            "The server has a fault of its own (it answered {status}): try again later, or look at it.",
            status=str(status),
        )
    return phrase(
        "The server did not take the message (it answered {status}): check what was typed.",
        status=str(status),
    )


def _of_server(target: Target, timeout_s: float) -> str | None:
    host, port = target.host, target.port
    try:
        connection = socket.create_connection((host, port), timeout_s)
    except socket.gaierror:
        return phrase(
            "No machine called “{host}” is known here: check the spelling, or give its number (192.168.1.20).",
            host=host,
        )
    except ConnectionRefusedError:
        return phrase(
            "{host} is there, but nothing answers at port {port}: check the port, and whether it is switched on.",
            host=host,
            port=str(port),
        )
    except TimeoutError:
        return phrase(
            "{host} does not answer at port {port}: is it switched on, and on this network?",
            host=host,
            port=str(port),
        )
    except (OSError, UnicodeError) as error:
        return phrase(
            "There is no way to {host} from here ({why}).",
            host=host,
            why=getattr(error, "strerror", None) or phrase("a name that is none"),
        )
    with connection:
        if target.mail is not None:
            return _of_mail(target, target.mail, timeout_s)
        return _of_tls(connection, host) if target.tls else None


def _of_tls(connection: socket.socket, host: str) -> str | None:
    try:
        with ssl.create_default_context().wrap_socket(connection, server_hostname=host):
            return None
    except ssl.SSLCertVerificationError as error:
        return phrase(
            "The certificate of {host} is not trusted here ({why}): mend it, or write http://.",
            host=host,
            why=error.verify_message,
        )
    except (ssl.SSLError, OSError):
        return phrase(
            "{host} does not speak HTTPS at that port: check the port, or write http://.", host=host
        )


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
                return phrase(
                    "The mail server refuses mail from {sender} ({code}): check “From”.",
                    sender=mail.sender,
                    code=str(code),
                )
            code, _said = server.rcpt(mail.to)
            if code >= 400:
                return phrase(
                    "The mail server refuses mail to {to} ({code}): check “Send to”.",
                    to=mail.to,
                    code=str(code),
                )
    except smtplib.SMTPAuthenticationError:
        return phrase("Sign-in refused by the mail server: check user name and password.")
    except smtplib.SMTPNotSupportedError as error:
        if "STARTTLS" in str(error):
            return phrase(
                "{host} offers no encryption at port {port}: choose another encryption, or another port.",
                host=host,
                port=str(port),
            )
        return phrase(
            "{host} offers no sign-in at port {port}: choose another encryption, or another port.",
            host=host,
            port=str(port),
        )
    except ssl.SSLCertVerificationError as error:
        return phrase(
            "The certificate of {host} is not trusted here ({why}).", host=host, why=error.verify_message
        )
    except (ssl.SSLError, smtplib.SMTPException, OSError, UnicodeError):
        return phrase(
            "{host} does not speak as expected at port {port}: check port and encryption.",
            host=host,
            port=str(port),
        )
    return None
