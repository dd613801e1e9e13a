"""The service's own API, asked from outside over HTTP: JSON there and back, refusals as the service words them (RFC 9457)."""

import http.client
import json
import urllib.parse
from typing import Any

from service.errors import NotFound, Refused, SettingError, StoreUnavailable

ANSWERS_WITHIN_S = 30.0


class ServiceClient:
    """`url`: of the service, such as http://localhost:7433. Raises SettingError where the address makes no sense."""

    def __init__(self, url: str) -> None:
        self._url, self._parts = url, urllib.parse.urlsplit(url)
        if self._parts.scheme not in ("http", "https") or not self._parts.hostname:
            raise SettingError(f"{url!r} is no address of the service; write http://localhost:7433.")

    def get(self, path: str) -> Any:
        """Raises NotFound, Refused, StoreUnavailable where nobody answers, with the service's sentence."""
        return self._ask("GET", path, None)

    def post(self, path: str, body: dict[str, Any]) -> Any:
        """Raises the same as `get`."""
        return self._ask("POST", path, json.dumps(body).encode())

    def _ask(self, method: str, path: str, body: bytes | None) -> Any:
        secure = self._parts.scheme == "https"
        kind = http.client.HTTPSConnection if secure else http.client.HTTPConnection
        connection = kind(self._parts.hostname or "", self._parts.port, timeout=ANSWERS_WITHIN_S)
        headers = {"accept": "application/json", **({"content-type": "application/json"} if body is not None else {})}
        try:
            connection.request(method, f"{self._parts.path.rstrip('/')}/api/v1{path}", body, headers)
            answer = connection.getresponse()
            told = json.loads(answer.read() or b"null")
        except (OSError, http.client.HTTPException, ValueError) as error:
            raise StoreUnavailable(f"Nobody answers at {self._url}: {error}. Is the service running?") from None
        finally:
            connection.close()
        if answer.status < 400:
            return told
        raise _refusal(answer.status, told)


def _refusal(status: int, told: Any) -> NotFound | Refused | StoreUnavailable:
    told = told if isinstance(told, dict) else {}
    each = "; ".join(f"{one.get('field')}: {one.get('reason')}" for one in told.get("errors") or ())
    sentence = each or str(told.get("detail") or f"The service answers {status}.")
    if status == http.client.NOT_FOUND:
        return NotFound(sentence)
    return StoreUnavailable(sentence) if status >= 500 else Refused(sentence)
