// SHA-256 (FIPS 180-4), fed piece by piece: the browser's own digest wants the whole file at once.
(() => {
  "use strict";
  const K = new Uint32Array(64);
  const H0 = new Uint32Array(8);
  // The constants are the first 32 bits of the fractional parts of cube and square roots of primes.
  (() => {
    const part = (x) => ((x - Math.floor(x)) * 4294967296) | 0;
    let n = 0;
    for (let p = 2; n < 64; p += 1) {
      let prime = true;
      for (let d = 2; d * d <= p; d += 1) if (p % d === 0) { prime = false; break; }
      if (!prime) continue;
      if (n < 8) H0[n] = part(Math.sqrt(p));
      K[n] = part(Math.cbrt(p));
      n += 1;
    }
  })();
  class Sha256 {
    constructor() { this.h = H0.slice(); this.w = new Uint32Array(64); this.rest = new Uint8Array(64); this.held = 0; this.length = 0; }
    update(bytes) {
      this.length += bytes.length;
      let at = 0;
      if (this.held) {
        const take = Math.min(64 - this.held, bytes.length);
        this.rest.set(bytes.subarray(0, take), this.held);
        this.held += take; at = take;
        if (this.held < 64) return this;
        this.block(this.rest, 0); this.held = 0;
      }
      for (; at + 64 <= bytes.length; at += 64) this.block(bytes, at);
      this.rest.set(bytes.subarray(at)); this.held = bytes.length - at;
      return this;
    }
    hex() {
      const bits = this.length * 8;
      const tail = new Uint8Array(this.held < 56 ? 64 : 128);
      tail.set(this.rest.subarray(0, this.held));
      tail[this.held] = 0x80;
      const view = new DataView(tail.buffer);
      view.setUint32(tail.length - 8, Math.floor(bits / 4294967296));
      view.setUint32(tail.length - 4, bits >>> 0);
      for (let at = 0; at < tail.length; at += 64) this.block(tail, at);
      return [...this.h].map((x) => x.toString(16).padStart(8, "0")).join("");
    }
    block(bytes, at) {
      const w = this.w;
      for (let i = 0; i < 16; i += 1, at += 4) w[i] = (bytes[at] << 24) | (bytes[at + 1] << 16) | (bytes[at + 2] << 8) | bytes[at + 3];
      for (let i = 16; i < 64; i += 1) {
        const x = w[i - 15], y = w[i - 2];
        const s0 = ((x >>> 7) | (x << 25)) ^ ((x >>> 18) | (x << 14)) ^ (x >>> 3);
        const s1 = ((y >>> 17) | (y << 15)) ^ ((y >>> 19) | (y << 13)) ^ (y >>> 10);
        w[i] = (w[i - 16] + s0 + w[i - 7] + s1) | 0;
      }
      let [a, b, c, d, e, f, g, h] = this.h;
      for (let i = 0; i < 64; i += 1) {
        const s1 = ((e >>> 6) | (e << 26)) ^ ((e >>> 11) | (e << 21)) ^ ((e >>> 25) | (e << 7));
        const t1 = (h + s1 + ((e & f) ^ (~e & g)) + K[i] + w[i]) | 0;
        const s0 = ((a >>> 2) | (a << 30)) ^ ((a >>> 13) | (a << 19)) ^ ((a >>> 22) | (a << 10));
        const t2 = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
        h = g; g = f; f = e; e = (d + t1) | 0; d = c; c = b; b = a; a = (t1 + t2) | 0;
      }
      const H = this.h;
      H[0] += a; H[1] += b; H[2] += c; H[3] += d; H[4] += e; H[5] += f; H[6] += g; H[7] += h;
    }
  }
  window.WmSha256 = Sha256;
})();
