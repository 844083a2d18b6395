// Records taps with the microphone, as they are (nothing cancelled, nothing levelled), and sends them as WAV.
const SECONDS = 8;
const form = document.getElementById('tap');
const place = document.getElementById('recorder');
const button = document.getElementById('record');
const heard = document.getElementById('heard');
const why = document.getElementById('no-microphone');

const can = window.isSecureContext && navigator.mediaDevices?.getUserMedia && window.AudioWorkletNode;
if (can) {
  place.hidden = false;
  why.textContent = 'The recording stays on this server. Nothing is recorded before you press the button.';
  button.addEventListener('click', () => record().catch(refused));
} else if (!window.isSecureContext) {
  why.textContent = 'This page was opened without a secure connection, so the browser gives no microphone: open it over https or on the computer that runs it, or drop a recording made with a phone.';
} else {
  why.textContent = 'This browser cannot record: drop a recording made with a phone.';
}

function refused(problem) {
  button.disabled = false;
  heard.textContent = problem.name === 'NotAllowedError'
    ? 'The browser was not allowed to use the microphone: allow it for this page, or drop a recording.'
    : problem.name === 'NotFoundError' ? 'No microphone was found: drop a recording instead.'
      : `It could not be recorded (${problem.message}): drop a recording instead.`;
}

async function record() {
  button.disabled = true;
  heard.textContent = 'Waiting for the microphone.';
  const stream = await navigator.mediaDevices.getUserMedia({
    audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
  });
  const context = new AudioContext();
  const blocks = [];
  try {
    await context.resume();
    await context.audioWorklet.addModule(place.dataset.worklet);
    const node = new AudioWorkletNode(context, 'taps');
    node.port.onmessage = (event) => blocks.push(event.data);
    context.createMediaStreamSource(stream).connect(node);
    for (let left = SECONDS; left > 0; left -= 1) {
      heard.textContent = `Tap now, ${left} s left.`;
      await new Promise((done) => { setTimeout(done, 1000); });
    }
  } finally {
    for (const track of stream.getTracks()) track.stop();
    await context.close();
  }
  const file = new File([wav(blocks, context.sampleRate)], 'taps.wav', { type: 'audio/wav' });
  const files = new DataTransfer();
  files.items.add(file);
  document.getElementById('sound').files = files.files;
  heard.textContent = 'Recorded; sending it.';
  form.requestSubmit();
}

function wav(blocks, rate) {
  const count = blocks.reduce((sum, block) => sum + block.length, 0);
  const view = new DataView(new ArrayBuffer(44 + 2 * count));
  const word = (at, text) => [...text].forEach((c, i) => view.setUint8(at + i, c.charCodeAt(0)));
  word(0, 'RIFF');
  view.setUint32(4, 36 + 2 * count, true);
  word(8, 'WAVEfmt ');
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true);
  view.setUint16(22, 1, true);
  view.setUint32(24, rate, true);
  view.setUint32(28, 2 * rate, true);
  view.setUint16(32, 2, true);
  view.setUint16(34, 16, true);
  word(36, 'data');
  view.setUint32(40, 2 * count, true);
  let at = 44;
  for (const block of blocks) {
    for (const sample of block) {
      view.setInt16(at, Math.round(32767 * Math.max(-1, Math.min(1, sample))), true);
      at += 2;
    }
  }
  return view.buffer;
}
