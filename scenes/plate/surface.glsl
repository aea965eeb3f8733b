// What cushions, rails, pockets, sights and the cue look like.
in vec3 at;
in vec3 n;
in vec2 ms;
out vec4 colour;
uniform float fill_light;
uniform vec3 rail;
uniform vec3 sight;
uniform vec3 pocket_rim;
uniform vec3 throat;
uniform vec3 drop;
uniform vec3 cue_tip;
uniform vec3 cue_ferrule;
uniform vec3 cue_shaft;
uniform vec3 cue_butt;

vec3 surface() {
    vec3 N = normalize(n);
    vec3 V = normalize(eye_mm - at);
    vec3 L = normalize(vec3(0.0, 0.0, LAMP_HEIGHT) - at * vec3(0.45, 0.45, 1.0));
    float light = mix(0.35 + 0.65 * max(dot(N, L), 0.0), 1.0, fill_light);
    float open = mix(ms.y, 1.0, fill_light);
    float pool = pool_of_light(at.xy);
    vec3 c;
    if (ms.x < 0.5) {
        c = cloth_colour(at.xy) * open * (0.72 + 0.36 * light) * 1.06;
    } else if (ms.x < 1.5) {
        float sheen = pow(max(dot(reflect(-V, N), L), 0.0), 14.0);
        float fresnel = 0.03 + 0.30 * pow(1.0 - max(dot(N, V), 0.0), 5.0);
        c = rail * (0.55 + 0.55 * pool) * light + lamp_light * (0.05 * sheen + 0.10 * fresnel) * pool;
    } else if (ms.x < 2.5) {
        c = pocket_rim * open * (0.6 + 0.6 * light);
    } else if (ms.x < 3.5) {
        c = throat;
    } else if (ms.x < 4.5) {
        c = sight * (0.55 + 0.45 * pool);
    } else if (ms.x < 5.5) {
        c = drop * (0.4 + 0.6 * light) * mix(smoothstep(-190.0, 30.0, at.z), 1.0, fill_light);
    } else {  // the cue: tip, ferrule, shaft, butt
        vec3 base = ms.x < 6.5 ? cue_tip : ms.x < 7.5 ? cue_ferrule : ms.x < 8.5 ? cue_shaft : cue_butt;
        float round_off = max(dot(N, V), 0.0);
        float sheen = pow(max(dot(reflect(-V, N), L), 0.0), 20.0);
        c = base * (0.42 + 0.58 * light) * mix(0.62, 1.0, round_off) * (0.7 + 0.3 * pool) + lamp_light * 0.10 * sheen;
    }
    return dithered(c);
}
