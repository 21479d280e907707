"""The page as it is served: loopback, the shop's network over HTTPS, the worker."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import httpx
import pytest

from patience import PATIENCE_S
from web.bench_page import fuel_lines
from witnessmark.errors import InputRefused
from witnessmark.web.serving import serve
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.shop.worker import Stopped, Worker

ROOT = Path(__file__).resolve().parents[2]


def oil_lines():
    """A case without the model of the fuel circuit: quick to assess."""
    complaint = {"words": "oil pressure low at idle (invented)", "families": ["oil_press"]}
    reading = {"quantity": "oil_pressure", "value": "9 psi", "point": {"rpm": 700, "load": "none"}}
    return [entry_line("complaint", complaint, entry_id="c1"), entry_line("reading", reading)]


def test_the_command_serves_on_loopback_and_says_where(tmp_path):
    shop = open_shop(tmp_path / "shop", create=True)
    shop.new_case("oil", oil_lines())
    shop.close()
    command = [sys.executable, "-m", "witnessmark", "serve", str(tmp_path / "shop")]
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    child = subprocess.Popen(
        [*command, "--port", "0", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=environment,
    )
    try:
        assert child.stdout is not None
        said = ""
        while not said.rstrip().endswith("}"):
            said += child.stdout.readline()
        address = json.loads(said)["address"]
        assert address.startswith("http://127.0.0.1:")
        answer = httpx.get(address, headers={"accept": "text/html"}, timeout=PATIENCE_S)
        assert "oil pressure low at idle" in answer.text
    finally:
        child.send_signal(signal.SIGINT)
        assert child.wait(PATIENCE_S) == 0


def test_a_port_that_is_taken_is_refused_with_a_sentence(tmp_path):
    import socket

    shop = open_shop(tmp_path / "shop", create=True)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(InputRefused, match="cannot be served"):
            serve(shop, port=taken.getsockname()[1])
    with pytest.raises(InputRefused):
        serve(shop, host="no such host at all")
    shop.close()


def test_in_the_network_it_is_https_with_passphrases_made_on_first_start(tmp_path):
    shop = open_shop(tmp_path / "shop", create=True)
    shop.new_case("unit7", fuel_lines())
    said, stop = [], []
    ready = threading.Event()

    def run():
        serve(
            shop,
            host="0.0.0.0",
            port=0,
            say=said.append,
            ready=lambda _: ready.set(),
            stopper=stop.append,
        )

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert ready.wait(PATIENCE_S)
    try:
        address = next(w for line in said for w in line.split() if w.startswith("https://"))
        passphrase = next(line.split(": ")[1] for line in said if "of the shop, shown" in line)
        certificate = tmp_path / "shop" / "tls" / "certificate.pem"
        import ssl

        trusted = ssl.create_default_context(cafile=str(certificate))
        with httpx.Client(verify=trusted, base_url=address, timeout=PATIENCE_S) as client:
            html = {"accept": "text/html"}
            assert client.get("/", headers=html).headers["location"].startswith("/login")
            form = {"name": "A. Example", "passphrase": passphrase}
            answer = client.post("/login", data=form, headers={"origin": address})
            assert answer.status_code == 303
            page = client.get("/cases/unit7/hand-over", headers=html).text
            assert f"{address}/cases/unit7" in page
            assert client.get("/cases/unit7/qr.svg").text.startswith("<svg")
        stored = (tmp_path / "shop" / "casebook.sqlite").read_bytes()
        assert passphrase.encode() not in stored
    finally:
        stop[0]()
        thread.join(PATIENCE_S)
        shop.close()


def test_the_worker_assesses_and_can_be_stopped(tmp_path):
    shop = open_shop(tmp_path / "shop", create=True)
    shop.new_case("oil", oil_lines())
    worker = Worker(shop.folder)
    worked = worker("oil")
    assert worked.assessment.odds_of("oil_press") is not None
    assert not hasattr(worked.assessment, "recordings"), "they are large"
    shop.new_case("unit7", fuel_lines())
    ended = []

    def wait_for_it():
        try:
            worker("unit7")
        except Stopped as error:
            ended.append(error)

    # held fast, the child cannot answer before it is stopped, however quick it is
    os.kill(worker._child.pid, signal.SIGSTOP)
    thread = threading.Thread(target=wait_for_it)
    thread.start()
    until = time.monotonic() + PATIENCE_S
    while not worker._lock.locked() and time.monotonic() < until:
        time.sleep(0.01)
    time.sleep(0.3)  # the case is on its way; a stopped child answers none
    worker.stop()
    thread.join(PATIENCE_S)
    assert ended, "stopping ends the wait at once"
    assert worker("oil").assessment.odds == worked.assessment.odds, "a fresh child goes on"
    worker.stop()
    shop.close()


def test_a_refusal_in_the_worker_arrives_as_what_it_is(tmp_path):
    from witnessmark.errors import NotFound

    shop = open_shop(tmp_path / "shop", create=True)
    shop.close()
    worker = Worker(tmp_path / "shop")
    try:
        with pytest.raises(NotFound, match="no case 'nobody'"):
            worker("nobody")
    finally:
        worker.stop()
