// Long work in short slices, so that a finger on the map is never kept waiting; one job after another by rank.
const Slices = (() => {
  const BUSY_MS = 9;
  const jobs = [];
  const channel = new MessageChannel();
  let waiting = false;
  channel.port1.onmessage = turn;

  // `work` is a generator; `done` tells whether it came to its end.
  function add(work, rank = 0) {
    let settle;
    const done = new Promise((resolve) => { settle = resolve; });
    const job = { work, rank, settle, done, cancel: () => finish(job, false) };
    const after = jobs.findIndex((other) => other.rank > rank);
    jobs.splice(after < 0 ? jobs.length : after, 0, job);
    tell();
    wake();
    return job;
  }

  function finish(job, whole) {
    const at = jobs.indexOf(job);
    if (at >= 0) jobs.splice(at, 1);
    job.settle(whole);
    tell();
  }

  function wake() {
    if (waiting || !jobs.length) return;
    waiting = true;
    channel.port2.postMessage(0);
  }

  function turn() {
    waiting = false;
    const until = performance.now() + BUSY_MS;
    try {
      while (jobs.length && performance.now() < until) step(jobs[0], until);
    } finally {
      wake();
    }
  }

  function step(job, until) {
    let ended = true;
    try {
      while (!(ended = job.work.next().done) && performance.now() < until);
    } finally {
      if (ended) finish(job, true);
    }
  }

  // While something is still being drawn the body says so.
  function tell() {
    if (jobs.length) document.body.dataset.painting = String(jobs.length);
    else delete document.body.dataset.painting;
  }
  return { add };
})();
