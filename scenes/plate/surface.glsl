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
uniform float grain_depth;

// a plank along its cushion: the rings of a tree cut lengthwise, and fine pores where they can be told apart
vec3 wood(vec2 footprint) {
    vec2 beyond = abs(at.xy) - half_bed_mm;
    bool is_long = beyond.y > beyond.x;
    vec2 q = is_long ? at.xy : at.yx + 377.0;
    float mm = is_long ? footprint.y : footprint.x;
    float drift = 2.3 * sin(0.0029 * q.x + 0.8 * sin(0.0113 * q.x + 0.021 * q.y)) + 0.7 * sin(0.0131 * q.x + 0.05 * q.y);
    float rings = sin(0.21 * q.y + drift) + 0.5 * sin(0.47 * q.y + 1.9 * drift + 1.0);
    float pores = sin(1.7 * q.y + 6.0 * drift) * sin(0.031 * q.x + 2.0 * drift);
    float told = 0.62 * rings * (1.0 - smoothstep(5.0, 16.0, mm)) + 0.38 * pores * (1.0 - smoothstep(0.8, 2.4, mm));
    return rail * (vec3(1.0) + grain_depth * told * vec3(0.9, 1.0, 1.1));
}

vec3 surface() {
    vec2 footprint = fwidth(at.xy);  // before any branch: neighbours' values are needed for it
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
        c = wood(footprint) * (0.55 + 0.55 * pool) * light + lamp_light * (0.05 * sheen + 0.10 * fresnel) * pool;
    } else if (ms.x < 2.5) {
        float sheen = pow(max(dot(reflect(-V, N), L), 0.0), 9.0);
        c = pocket_rim * open * (0.6 + 0.6 * light) + lamp_light * 0.13 * sheen * open * (1.0 - fill_light);
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
