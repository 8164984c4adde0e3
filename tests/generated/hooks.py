"""Signs in for Schemathesis: as the administrator, anew before each token runs out."""

import json
import os
import urllib.request

import schemathesis

BASE = os.environ["RIMEYARD"]
WHO = {"email": os.environ["RIMEYARD_EMAIL"], "password": os.environ["RIMEYARD_PASSWORD"]}


def sign_in():
    request = urllib.request.Request(
        BASE + "/v1/sign-in", json.dumps(WHO).encode(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(request) as answer:
        return json.load(answer)["access_token"]


def ends_sessions(case):
    """Operations that end the session they are called in: each gets one of its own, or all others would see only 401."""
    return case.operation.path in ("/v1/sign-out", "/v1/me/password")


@schemathesis.auth(refresh_interval=240, cache_by_key=lambda case, context: "all")
class Administrator:
    def get(self, case, context):
        return sign_in()

    def set(self, case, token, context):
        case.headers = case.headers or {}
        token = sign_in() if ends_sessions(case) else token
        case.headers["Authorization"] = f"Bearer {token}"
