// Which bag is lifted next: after enough slides of one the page goes on to the evening's next.
"use strict";

const evening = {
  seen: null,  // bag face as it was shown last, and the slides that were left of it
  done: null,  // the one whose slides were enough just now

  // Bags that were ticked off on the study's page are left out here as well.
  rows(study) {
    const leftOut = new Set(JSON.parse(localStorage.getItem("left-out") ?? "[]"));
    return study.rows.filter((row) => !leftOut.has(row.bag));
  },

  of(study, bag, face) { return this.rows(study).find((row) => row.bag === bag && row.face === face); },

  next(study) { return this.rows(study).find((row) => row.left > 0); },

  // The row to go on to: only when the last slide of the one that is chosen has just come in, so
  // that whoever wants one more of a bag is not sent away from it again.
  see(study, bag, face) {
    const row = this.of(study, bag, face), before = this.seen;
    const isEnough = Boolean(row) && row.left === 0 && before?.bag === bag && before.face === face && before.left > 0;
    this.seen = row ? {bag, face, left: row.left} : null;
    if (!isEnough) return null;
    this.done = {bag, face};
    return this.next(study) ?? null;
  },
};
