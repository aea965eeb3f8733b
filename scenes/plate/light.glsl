// The cloth and the lamp above it, for the parts that are painted pixel by pixel; colours are the look's surfaces.
uniform vec3 cloth_near;
uniform vec3 cloth_far;
uniform vec3 lamp_light;
const float LAMP_HEIGHT = 860.0;

// a dither of one step, so that gradients do not band
vec3 dithered(vec3 colour) {
    float noise = fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715))));
    return colour + (noise - 0.5) / 255.0;
}

float pool_of_light(vec2 at) {
    vec2 q = at / half_bed_mm;
    return 1.0 / (1.0 + 0.30 * dot(q, q));
}

vec3 cloth_colour(vec2 at) {
    return mix(cloth_far, cloth_near, pool_of_light(at));
}
