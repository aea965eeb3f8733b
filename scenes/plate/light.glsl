// Colours of the cloth and the lamp above it, for the parts that are painted pixel by pixel.
const vec3 CLOTH_NEAR = vec3(0.118, 0.314, 0.310);
const vec3 CLOTH_FAR = vec3(0.063, 0.184, 0.188);
const vec3 LAMP = vec3(1.0, 0.985, 0.955);
const float LAMP_HEIGHT = 860.0;

// a dither of one step, so that gradients do not band
vec3 dithered(vec3 colour) {
    float noise = fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715))));
    return colour + (noise - 0.5) / 255.0;
}

float pool_of_light(vec2 at) {
    vec2 q = at / half_bed_mm;
    return 1.0 / (1.0 + 0.42 * dot(q, q));
}

vec3 cloth_colour(vec2 at) {
    return mix(CLOTH_FAR, CLOTH_NEAR, pool_of_light(at));
}
