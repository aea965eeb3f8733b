in vec2 corner;
in vec3 ball;  // centre x, y and radius
in vec2 height_opacity;
out vec2 from_centre;
out vec3 b;
out vec2 h;
void main() {
    b = ball;
    h = height_opacity;
    from_centre = corner * 5.0 * ball.z;
    gl_Position = clip_from_table * vec4(ball.xy + from_centre, 0.0, 1.0);
}
