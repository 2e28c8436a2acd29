"""Many jobs: equal answers however many work on them, kept and found again, stopped and gone on with, on a cluster, too."""

import json
import os
import shutil
import signal
import subprocess
import sys
import warnings
from pathlib import Path

import pytest

import halfthou
from halfthou.base.errors import Cancelled, CannotAnswer, InputError
from halfthou.base.watch import Watch
from halfthou.files import job
from halfthou.files.snapshot import take
from halfthou.flow import library_local
from halfthou.flow.library import find_jobs, run_library, store_of
from halfthou.flow.library_cluster import prove_there
from halfthou.flow.library_task import LibraryOptions, prove_snapshot
from halfthou.nouns.library import JobResult
from halfthou.sheets.library_json import library_json
from halfthou.sheets.proof_json import proof_dict
from halfthou.store.results import Results

ROOT = Path(__file__).resolve().parents[2]
GOOD, FAULTY = ROOT / "tests/jobs/known_good", ROOT / "tests/jobs/known_good_faulty"
QUICK = LibraryOptions(pitch_mm=1.0, what_if=False)


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Three small jobs with their shop file above them: one clean, one with STOP findings, one that cannot be read."""
    home = tmp_path / "jobs"
    home.mkdir()
    shutil.copy(GOOD / "shop.toml", home)
    shutil.copytree(GOOD / "twin", home / "twin")
    shutil.copytree(GOOD / "cam", home / "more" / "wrong")  # its shop file is not there: a complaint
    shutil.copytree(FAULTY / "bracket", home / "fault")
    shutil.copytree(GOOD / "bracket", tmp_path / "known_good" / "bracket")  # what the faulty one names with ../..
    shutil.copy(GOOD / "shop.toml", tmp_path / "known_good")
    shutil.copytree(GOOD / "twin", home / ".hidden")
    return home


def answers(results: tuple[JobResult, ...]) -> list[str]:
    return [result.answer for result in results]


def run(home: Path, workers: int = 1, store: Path | None = None, **more: object) -> tuple[JobResult, ...]:
    return run_library(find_jobs([home]), workers, store, options=QUICK, **more)  # type: ignore[arg-type]


def test_one_and_two_workers_and_the_store_give_the_same_bytes(library: Path, tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    store = tmp_path / "store"
    one = run(library, 1, store, on_result=lambda result, done, total: told.append((result.verdict, done, total)))
    two = run(library, 2)
    again = run(library, 2, store)
    assert [Path(result.job).name for result in one] == ["fault", "wrong", "twin"]
    assert answers(one) == answers(two) == answers(again)
    assert library_json(one, 2) == library_json(two, 2) == library_json(again, 2)
    assert [result.kept for result in one] == [False] * 3
    assert [result.kept for result in again] == [True, False, True]  # complaints are not kept
    assert [(done, total) for _, done, total in told] == [(1, 3), (2, 3), (3, 3)]
    fault, wrong, twin = one
    assert (fault.verdict, fault.exit_code, wrong.verdict, wrong.exit_code) == ("STOP", 1, "INPUT", 2)
    assert fault.stops >= 1 and twin.stops == 0 and twin.exit_code == 0 and twin.cycle_s and twin.cycle_s > 0
    assert "F001" in wrong.answer and "../shop.toml" in wrong.answer


def test_an_answer_is_that_of_a_single_proof_with_paths_from_the_job_folder(
    library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(library / "fault")
    single = proof_dict(halfthou.open(".").prove(pitch_mm=1.0, what_if=False))
    many = halfthou.prove_many([library / "fault"], pitch_mm=1.0, what_if=False)
    assert json.loads(many[0].answer) == json.loads(json.dumps(single))
    assert {finding["file"] for finding in single["findings"]} == {"op1.nc"}


def test_what_changes_the_answer_changes_the_key(library: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    twin = library / "twin"
    key = take(twin).key(QUICK.pairs())
    assert run(twin, 1, store)[0].kept is False
    assert run(twin, 1, store)[0].kept is True
    assert take(twin / "job.toml").key(QUICK.pairs()) == key
    assert take(twin).key(LibraryOptions(pitch_mm=1.0).pairs()) != key  # what-if on
    assert take(twin).key(LibraryOptions(pitch_mm=0.5, what_if=False).pairs()) != key
    shutil.copytree(library, tmp_path / "elsewhere")
    assert take(tmp_path / "elsewhere" / "twin").key(QUICK.pairs()) == key  # where it lies is no matter
    for name in ("job.toml", "op1.nc", "../shop.toml", *(p.name for p in twin.glob("*.csv"))):
        file = twin / name
        raw = file.read_bytes()
        file.write_bytes(raw + b"\n")
        assert take(twin).key(QUICK.pairs()) != key, name
        file.write_bytes(raw)
    (twin / "notes.txt").write_text("not a file of the job")
    assert take(twin).key(QUICK.pairs()) == key
    assert run(twin, 1, store)[0].kept is True


JOBS = sorted({path.parent for top in ("examples", "tests/jobs") for path in (ROOT / top).rglob("job.toml")})


@pytest.mark.parametrize("folder", JOBS, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_snapshot_has_every_file_the_job_reads(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(job, "part_of", lambda *_, **__: None)  # which files are read is asked, not what is in a design
    there = job.load_job(folder)
    laid = job.load_job(take(folder).lay_out(tmp_path).file)
    assert laid.inputs == there.inputs
    assert laid.job.name == there.job.name


def test_a_kept_answer_that_was_changed_is_proved_again(library: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    first = run(library / "twin", 1, store)
    (kept,) = store.rglob("*.answer")
    whole = kept.read_bytes()
    for broken in (whole[:-20], whole.replace(b'"moves": ', b'"moves": 9'), b""):
        assert broken != whole
        kept.write_bytes(broken)
        again = run(library / "twin", 1, store)
        assert again[0].kept is False and answers(again) == answers(first)
        assert kept.read_bytes() == whole


def test_stopped_work_goes_on_from_what_is_finished(library: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    done: list[str] = []
    watch = Watch(asked_to_stop=lambda: bool(done))
    jobs = find_jobs([library])
    with pytest.raises(Cancelled, match="1 of 3 jobs are finished; what is finished is kept"):
        run_library(jobs, 1, store, watch, options=QUICK, on_result=lambda result, *_: done.append(result.job))
    after = run_library(jobs, 1, store, options=QUICK)
    assert [result.job for result in after if result.kept] == done
    assert answers(after) == answers(run_library(jobs, 1, options=QUICK))


def test_a_task_stops_at_its_next_step(library: Path) -> None:
    with pytest.raises(Cancelled):
        prove_snapshot(take(library / "twin"), QUICK, 1, Watch(asked_to_stop=lambda: True))


def test_a_worker_that_ends_costs_its_job_only(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    give = library_local.LocalCrew.give

    def give_and_kill_the_first(crew: library_local.LocalCrew, number: int, snapshot: object) -> None:
        give(crew, number, snapshot)  # type: ignore[arg-type]
        if number == 0:
            crew.hands[0].process.kill()

    monkeypatch.setattr(library_local.LocalCrew, "give", give_and_kill_the_first)
    fault, wrong, twin = run(library, 1)
    assert (fault.verdict, fault.exit_code) == ("OUR FAULT", 4)
    assert "ended with code -9" in fault.answer
    assert (wrong.exit_code, twin.exit_code) == (2, 0)


def test_what_names_no_job_is_complained_of_at_once(library: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError) as caught:
        find_jobs([library / "twin", tmp_path / "empty", tmp_path / "missing"])
    assert [complaint.code for complaint in caught.value.complaints] == ["F812", "F812"]
    twice = find_jobs([library / "twin", library / "twin" / "job.toml", library])
    assert [path.name for path in twice] == ["twin", "fault", "wrong"]


def test_a_store_that_cannot_be_written_is_complained_of(library: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError) as caught:
        run(library, 1, tmp_path / "file")
    assert [complaint.code for complaint in caught.value.complaints] == ["F811"]
    with pytest.raises(ValueError, match="no key"):
        Results(tmp_path).get("../escape")


def test_a_file_outside_that_is_another_one_where_the_proof_runs(library: Path) -> None:
    file = library / "twin" / "job.toml"
    shop = library / "shop.toml"
    file.write_text(file.read_text().replace('"../shop.toml"', f'"{shop}"'))
    snapshot = take(file)
    assert [name for name, _ in snapshot.outside] == [str(shop)]
    assert prove_snapshot(snapshot, QUICK).exit_code == 0
    shop.write_text(shop.read_text() + "\n")
    outcome = prove_snapshot(snapshot, QUICK)
    assert outcome.exit_code == 2 and '"F814"' in outcome.answer


def test_where_answers_are_kept(library: Path) -> None:
    assert store_of([library]) == library / ".halfthou"
    assert store_of([library / "twin", library / "fault" / "job.toml"]) == library / ".halfthou"
    assert store_of([library / "twin", library / "more"]) == library / ".halfthou"


def command(*words: object) -> list[str]:
    return [sys.executable, "-m", "halfthou.cli.main", "prove", *map(str, words)]


def test_the_command_shows_a_line_a_job_a_table_and_the_worst_exit_code(library: Path) -> None:
    words = command(library, "--pitch", 1, "--no-what-if", "--workers", 2)
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    lines = done.stderr.splitlines()
    assert len(lines) == 3 and all(line.startswith(f"[{k}/3] ") for k, line in enumerate(lines, 1))
    assert "STOP  CARE  NOTE" in done.stdout and "F001" in done.stdout and "3 jobs: " in done.stdout
    assert (library / ".halfthou").is_dir()
    again = subprocess.run([*words, "--json"], capture_output=True, text=True, check=False)
    body = json.loads(again.stdout)
    assert again.returncode == body["exit_code"] == 2 and again.stderr == ""
    assert [row["exit_code"] for row in body["jobs"]] == [1, 2, 0]
    assert body["jobs"][0]["answer"]["schema"] == "halfthou.proof/1"
    report = subprocess.run([*words, "--report", "x.pdf"], capture_output=True, text=True, check=False)
    assert report.returncode == 2 and "single job" in report.stderr


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
def test_ctrl_c_stops_and_the_next_call_goes_on(library: Path) -> None:
    for k in range(6):
        shutil.copytree(GOOD / "twin", library / f"z{k}")
    words = command(library, "--pitch", 1, "--no-what-if", "--workers", 1)
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as asked:
        assert asked.stderr is not None and asked.stdout is not None
        assert asked.stderr.readline().startswith("[1/9]")
        asked.send_signal(signal.SIGINT)
        rest = asked.stderr.read()
        assert asked.stdout.read() == ""
        assert asked.wait(60) == 130
    assert "the same call goes on from there" in rest and "Traceback" not in rest
    finished = 1 + sum(line.startswith("[") for line in rest.splitlines())
    assert finished < 9
    second = subprocess.run(words, capture_output=True, text=True, check=False)
    wrong = 1 if "INPUT" in rest else 0  # complaints are not kept
    assert second.returncode == 2 and second.stderr.count("finished before") == finished - wrong


def test_a_cluster_gives_the_same_bytes(library: Path, tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="the optional part 'cluster' is not installed")
    local = run(library, 1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the cluster's own making
        settings = {"processes": True, "threads_per_worker": 1, "dashboard_address": None}
        with distributed.LocalCluster(n_workers=1, **settings) as cluster:
            address = cluster.scheduler_address
            far = run(library, 1, tmp_path / "store", cluster=address)
            assert answers(far) == answers(local)
            kept = run(library, 1, tmp_path / "store", cluster=address)
            assert [result.kept for result in kept] == [True, False, True]
            done: list[str] = []
            watch = Watch(asked_to_stop=lambda: bool(done))
            with pytest.raises(Cancelled, match=r"[12] of 3 jobs are finished$"):
                run_library(
                    find_jobs([library]), None, None, watch, options=QUICK, cluster=address,
                    on_result=lambda result, *_: done.append(result.job),
                )  # fmt: skip
            with distributed.Client(address, set_as_default=False) as client:
                distributed.Event("stop here", client=client).set()
                task = client.submit(prove_there, take(library / "twin"), QUICK, "stop here")
                assert isinstance(task.exception(timeout=60), Cancelled)  # what runs stops at its next step


def test_a_cluster_that_is_not_there_is_complained_of(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed", reason="the optional part 'cluster' is not installed")
    from halfthou.flow import library_cluster

    monkeypatch.setattr(library_cluster, "REACH_S", 0.5)
    for address in ("tcp://127.0.0.1:9", "no address"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with pytest.raises(InputError) as caught:
                run(library, cluster=address)
        assert [complaint.code for complaint in caught.value.complaints] == ["F813"]
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(CannotAnswer, match="pip install"):
        run(library, cluster="tcp://127.0.0.1:9")
