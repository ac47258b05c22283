// The phone's motion: readings as they come, and a rough angle and pace for the person who lifts.
// What counts is computed by the server from the same readings.
"use strict";

const GRAVITY = 9.806;

const motion = {
  readings: 0,
  hasRotation: false,
  listeners: new Set(),
  last: null,

  // Resolves to "" or to words about why there are no readings.
  async start() {
    if (!window.isSecureContext) {
      return "A browser gives a phone’s sensors to encrypted pages alone. Start the page with"
        + " `rig panel STUDY --https` and open the address that begins with https.";
    }
    if (typeof DeviceMotionEvent === "undefined") {
      return "This browser has no motion sensors to offer. Open the page in the phone’s own browser.";
    }
    if (typeof DeviceMotionEvent.requestPermission === "function") {
      let answer = "denied";
      try { answer = await DeviceMotionEvent.requestPermission(); } catch { /* as if denied */ }
      if (answer !== "granted") {
        return "The sensors were refused. Reload the page and allow “Motion and orientation”; if the"
          + " browser does not ask again, allow it for this site in the browser’s settings.";
      }
    }
    window.addEventListener("devicemotion", (event) => this.take(event));
    for (let waited = 0; waited < 3000 && !this.readings; waited += 100) {
      await new Promise((done) => setTimeout(done, 100));
    }
    return this.readings ? "" : "No readings come. Allow motion sensors for this site in the"
      + " browser’s settings, leave power saving, or use another browser; a desk computer has none.";
  },

  take(event) {
    const pull = event.accelerationIncludingGravity;
    if (!pull || pull.x === null || pull.x === undefined) return;
    const turn = event.rotationRate;
    const has = Boolean(turn) && turn.alpha !== null && turn.alpha !== undefined;
    this.readings += 1;
    this.hasRotation ||= has;
    const one = {
      ms: event.timeStamp || performance.now(),
      pull: [pull.x, pull.y, pull.z],
      turn: has ? [turn.alpha, turn.beta, turn.gamma] : null,
    };
    this.last = one;
    for (const listener of this.listeners) listener(one);
  },

  // Mean and scatter of some seconds at rest; null where too few readings came.
  async rest(seconds) {
    const seen = [];
    const listener = (one) => seen.push(one.pull);
    this.listeners.add(listener);
    await new Promise((done) => setTimeout(done, seconds * 1000));
    this.listeners.delete(listener);
    if (seen.length < 10) return null;
    const mean = [0, 1, 2].map((axis) => seen.reduce((sum, one) => sum + one[axis], 0) / seen.length);
    const sd = Math.max(...mean.map((middle, axis) => Math.sqrt(
      seen.reduce((sum, one) => sum + (one[axis] - middle) ** 2, 0) / seen.length)));
    return {acceleration_m_s2: mean, sd_m_s2: sd, n: seen.length};
  },
};

// A needle's view of angle and pace, each over the last moments.
class Needle {
  constructor(zero) {
    const whole = zero.first.acceleration_m_s2.map((one, axis) => one + zero.second.acceleration_m_s2[axis]);
    const length = Math.hypot(...whole);
    this.normal = whole.map((one) => one / length);
    this.seen = [];
    this.offset = null;
  }

  // Called with each reading; `isRest` while the board still rests.
  take(one, isRest) {
    if (isRest && one.turn) {
      this.offset = this.offset ? this.offset.map((old, axis) => old + (one.turn[axis] - old) * 0.05) : one.turn;
    }
    this.seen.push(one);
    while (this.seen[0].ms < one.ms - 1000) this.seen.shift();
  }

  angle(from, to) {
    const part = this.seen.filter((one) => one.ms >= from && one.ms <= to);
    if (!part.length) return null;
    const mean = [0, 1, 2].map((axis) => part.reduce((sum, one) => sum + one.pull[axis], 0) / part.length);
    const along = mean.reduce((sum, one, axis) => sum + one * this.normal[axis], 0);
    const across = Math.hypot(...mean.map((one, axis) => one - along * this.normal[axis]));
    return Math.asin(Math.min(across / GRAVITY, 1)) * 180 / Math.PI;
  }

  get now() {
    const end = this.seen.at(-1)?.ms;
    if (end === undefined) return {angle: null, pace: null};
    return {angle: this.angle(end - 300, end), pace: this.pace(end)};
  }

  pace(end) {
    const part = this.seen.filter((one) => one.ms >= end - 400 && one.turn);
    if (part.length && this.offset) {
      return Math.hypot(...[0, 1, 2].map((axis) => part.reduce(
        (sum, one) => sum + one.turn[axis] - this.offset[axis], 0) / part.length));
    }
    const before = this.angle(end - 1000, end - 700), after = this.angle(end - 300, end);
    return before === null || after === null ? null : Math.max((after - before) / 0.7, 0);
  }
}
