"""Jobs in processes and on a cluster: each is done once, whatever ends in the middle of it."""

from __future__ import annotations

import os
import signal
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic, sleep

import pytest

from interlock import cli
from interlock.cli.workers import ENDED, NOT_BEGUN, Done, here, in_processes, is_stopped, on_cluster
from tests.some import some

Task = tuple[str, int]
"""A folder for marks, and a number; 3 ends its process once, 5 whenever it is tried."""


def square(task: Task) -> int:
    """The square of the number, if the process lives long enough."""
    folder, number = task
    mark = Path(folder, str(number))
    if (number == 3 and not mark.exists()) or number == 5:
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def patient(task: Task) -> int:
    """Works until an end is asked for."""
    Path(task[0], str(task[1])).touch()
    end = monotonic() + 60
    while not is_stopped() and monotonic() < end:
        sleep(0.01)
    return -1


def never() -> bool:
    """No end is asked for."""
    return False


def outcomes(found: Iterable[Done[Task, int]]) -> dict[int, tuple[int | None, str]]:
    """What came of each number, which came once."""
    done = list(found)
    assert max(Counter(one.job for one in some(done)).values()) == 1
    return {one.job[1]: (one.result, one.why) for one in done}


def test_a_process_that_ends_loses_nothing_but_what_ends_it(tmp_path: Path) -> None:
    """One job ends its process once, another each time: all others are done, the first too, the last is told."""
    tasks = [(str(tmp_path), number) for number in range(9)]
    found = outcomes(in_processes(square, tasks, 2, never))
    assert found == {**{n: (n * n, "") for n in range(9)}, 5: (None, ENDED)}


def test_an_end_is_heeded_by_whoever_works(tmp_path: Path) -> None:
    """Work that has begun ends by itself and its result counts; the rest is not begun."""
    tasks = [(str(tmp_path), number) for number in range(12)]
    found = outcomes(in_processes(patient, tasks, 2, lambda: any(tmp_path.iterdir())))
    assert set(found) == set(range(12))
    assert {one for one in found.values()} == {(-1, ""), (None, NOT_BEGUN)}
    asked = iter([False, True, True, True])
    assert outcomes(here(square, [(str(tmp_path), 1), (str(tmp_path), 2)], lambda: next(asked)))[2][1] == NOT_BEGUN


def test_a_fault_of_ours_is_no_lost_job(tmp_path: Path) -> None:
    """What is raised where work is done is raised here."""
    with pytest.raises(FileNotFoundError):
        list(in_processes(square, [(str(tmp_path / "no" / "such"), 3)], 1, never))


# ---- several machines, tried with a scheduler and two workers of this one ----------------------------------------


@contextmanager
def cluster() -> Iterator[str]:
    """The address of a scheduler with two workers."""
    pytest.importorskip("distributed")
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50, protocol="tcp"
    ) as found:
        yield found.scheduler_address


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_worker_that_ends_loses_nothing(tmp_path: Path) -> None:
    """One worker of two ends in the middle: its jobs are done by the other, none of them twice."""
    tasks = [(str(tmp_path), number) for number in range(20) if number != 5]
    with cluster() as address:
        found = outcomes(on_cluster(square, tasks, address, never))
    assert found == {number: (number * number, "") for _, number in tasks}
    assert Path(tmp_path, "3").exists()


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_cluster_says_what_one_process_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bytes of the result are those of one worker, with one of two workers ended in the middle."""
    from interlock.cli import fleet_work
    from tests.repo.test_fleet_command import ASKED, write_fleet

    monkeypatch.chdir(tmp_path)
    write_fleet()
    call = ["fleet", "fleet.csv", *ASKED, "--no-cache"]
    assert cli.run([*call, "--workers", "1", "--output", "one.json"]) == 1
    monkeypatch.setattr(fleet_work, "work", ending_once)
    with cluster() as address:
        assert cli.run([*call, "--cluster", address, "--output", "cluster.json"]) == 1
    assert Path("ended").exists()
    assert Path("cluster.json").read_bytes() == Path("one.json").read_bytes()


def ending_once(job: object) -> object:
    """As `fleet_work.work`, but for the third job, which ends its worker the first time."""
    from interlock.cli.fleet_work import Job, work

    assert isinstance(job, Job)
    if job.numbers[0] == 2 and not Path("ended").exists():
        Path("ended").touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return work(job)


def test_workers_of_a_cluster_are_not_counted_here(capsys: pytest.CaptureFixture[str]) -> None:
    """Both together make no sense."""
    assert cli.run(["fleet", "demo:fleets/dozen", "--cluster", "tcp://127.0.0.1:9", "--workers", "2"]) == 2
    assert "--workers and --cluster" in " ".join(capsys.readouterr().err.split())
