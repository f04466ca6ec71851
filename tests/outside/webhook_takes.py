"""A receiver of webhooks, as a hospital's own system may have it (Standard Webhooks 1.0).

webhook_takes.py SECRET FAILURES: listens on a free port of loopback, prints it, then one JSON line
a message. The first FAILURES messages are answered with 503. Everything else is Python's own.
"""

import base64, hashlib, hmac, json, sys, time
from http.server import BaseHTTPRequestHandler, HTTPServer

key = base64.b64decode(sys.argv[1].removeprefix("whsec_"))
failures = int(sys.argv[2])
had = set()


class Receiver(BaseHTTPRequestHandler):
    def do_POST(self):
        global failures
        body = self.rfile.read(int(self.headers["content-length"]))
        name, at = self.headers["webhook-id"], self.headers["webhook-timestamp"]
        text = f"{name}.{at}.".encode() + body
        want = "v1," + base64.b64encode(hmac.digest(key, text, hashlib.sha256)).decode()
        right = hmac.compare_digest(want, self.headers["webhook-signature"])
        fresh = abs(time.time() - int(at)) < 300
        code = 401 if not (right and fresh) else 503 if failures > 0 else 200
        failures -= code == 503
        line = {"id": name, "again": name in had, "code": code, "body": json.loads(body)}
        had.update({name} if code == 200 else ())
        print(json.dumps(line), flush=True)
        self.send_response(code)
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, *_):
        pass


server = HTTPServer(("127.0.0.1", 0), Receiver)
print(server.server_port, flush=True)
server.serve_forever()
