// A measurement's progress; the page is loaded again when it ends.
"use strict";

(() => {
  const bar = document.getElementById("job-part");
  if (!bar) return;
  const what = document.getElementById("job-what");
  const look = async () => {
    try {
      const answer = await fetch("/recordings/job", { credentials: "same-origin" });
      const job = await answer.json();
      if (job.state !== "running") { location.replace("/recordings"); return; }
      bar.value = job.part;
      what.textContent = `${job.what}, ${Math.round(100 * job.part)} %`;
    } catch { what.textContent = "no connection; trying again"; }
    setTimeout(look, 300);
  };
  look();
})();
