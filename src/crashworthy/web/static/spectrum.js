// Spectra to look into: drag across to zoom, double tap to go back. Without it the printed plot stays.
for (const holder of document.querySelectorAll('[data-spectrum]')) show(holder);

async function library() {
  if (!window.uPlot) {
    await new Promise((resolve, reject) => {
      const script = document.createElement('script');
      script.src = '/static/vendor/uplot.min.js';
      script.onload = resolve;
      script.onerror = reject;
      document.head.append(script);
    });
    const look = document.createElement('link');
    look.rel = 'stylesheet';
    look.href = '/static/vendor/uplot.min.css';
    document.head.append(look);
  }
  return window.uPlot;
}

async function show(holder) {
  try {
    const [uPlot, answer] = await Promise.all([library(), fetch(holder.dataset.spectrum)]);
    if (!answer.ok) return;
    const { x, series, marks = [], x_label: across, y_label: up } = await answer.json();
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim();
    const dashes = [[], [5, 2], [2, 2], [7, 2, 2, 2]];
    const axis = (label) => ({ label, stroke: colour('--ink'), grid: { stroke: colour('--faint'), width: 1 }, ticks: { stroke: colour('--line') } });
    const width = () => Math.min(holder.clientWidth, 1100);
    const drawMarks = (u) => {
      const { ctx, bbox } = u;
      ctx.save();
      ctx.strokeStyle = colour('--mark');
      ctx.fillStyle = colour('--mark');
      ctx.font = `${12 * devicePixelRatio}px sans-serif`;
      ctx.textAlign = 'left';
      let clear = -Infinity;
      for (const [at, words] of [...marks].sort((a, b) => a[0] - b[0])) {
        const place = u.valToPos(at, 'x', true);
        if (place < bbox.left || place > bbox.left + bbox.width) continue;
        ctx.beginPath();
        ctx.moveTo(place, bbox.top);
        ctx.lineTo(place, bbox.top + bbox.height);
        ctx.stroke();
        if (place > clear) {
          ctx.fillText(words, place + 4, bbox.top + 13 * devicePixelRatio);
          clear = place + 8 + ctx.measureText(words).width;
        }
      }
      ctx.restore();
    };
    const plot = new uPlot({
      hooks: { draw: [drawMarks] },
      width: width(), height: 300, scales: { x: { time: false }, y: { distr: 3 } },
      axes: [axis(across), { ...axis(up), size: 70 }],
      series: [{ label: across }, ...series.map((s, i) => ({ label: s.label, width: 1.3, dash: dashes[i % 4], stroke: colour(i === series.length - 1 ? '--mark' : '--ink') }))],
    }, [x, ...series.map((s) => s.y)], holder.querySelector('.zoomable'));
    holder.querySelector('.still').hidden = true;
    new ResizeObserver(() => plot.setSize({ width: width(), height: 300 })).observe(holder);
  } catch { /* the printed plot is still there */ }
}
